// Places on the sheet: kept within it, to a thousandth; in percent for a field, and as the reader's language writes it.
export const within = (value) => Math.min(1, Math.max(0, Math.round(value * 1000) / 1000));
export const percent = (value) => String(Math.round(value * 1000) / 10);
export const spoken = (value) => new Intl.NumberFormat(document.documentElement.lang).format(percent(value));
