// Ids made on the phone: UUID version 7 (RFC 9562, section 5.7), in the order in which they were made.
export const uuid7 = (now = Date.now()) => {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  // 48 bits of milliseconds; a number's bits end at 32, so it is divided and not shifted.
  for (let place = 5, rest = now; place >= 0; place -= 1, rest = Math.floor(rest / 256)) bytes[place] = rest % 256;
  bytes[6] = 0x70 | (bytes[6] & 0x0f);
  bytes[8] = 0x80 | (bytes[8] & 0x3f);
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
};
