// A trap measured by the cup: about 250 flies each (common practice, no source), as server/web/forms/count.py has it.
const FLIES_IN_A_CUP = 250;

// Two decimals at most; half a fly is rounded to the even number, as the server does. Null where it can't be read.
export const cupsOf = (text) => {
  if (!/^[0-9]{0,3}([.,][0-9]{0,2})?$/.test(text) || !/[0-9]/.test(text)) return null;
  const flies = (Math.round(Number(text.replace(",", ".")) * 100) * FLIES_IN_A_CUP) / 100;
  const up = Math.round(flies);
  return flies % 1 === 0.5 && up % 2 === 1 ? up - 1 : up;
};
