// Canonical JSON, SHA-256 and ULID in our own code: over plain http a browser has no digest.
// The same bytes as record/canonical.py; tests/record/vectors.json holds both to it.

const K = new Uint32Array(64);
const H = new Uint32Array(8);
(() => { // the constants: fraction bits of cube and square roots of the first primes (FIPS 180-4)
  const part = (x) => ((x - Math.floor(x)) * 2 ** 32) | 0;
  for (let n = 2, found = 0; found < 64; n += 1) {
    let prime = true;
    for (let d = 2; d * d <= n; d += 1) if (n % d === 0) prime = false;
    if (!prime) continue;
    if (found < 8) H[found] = part(Math.sqrt(n));
    K[found] = part(Math.cbrt(n));
    found += 1;
  }
})();

export const utf8 = (text) => new TextEncoder().encode(text);

export function sha256(bytes) {
  const length = bytes.length;
  const padded = new Uint8Array(((length + 8) >> 6 << 6) + 64);
  padded.set(bytes);
  padded[length] = 0x80;
  const view = new DataView(padded.buffer);
  view.setUint32(padded.length - 8, Math.floor(length / 2 ** 29));
  view.setUint32(padded.length - 4, (length << 3) >>> 0);
  const h = H.slice();
  const w = new Uint32Array(64);
  for (let at = 0; at < padded.length; at += 64) {
    for (let i = 0; i < 16; i += 1) w[i] = view.getUint32(at + 4 * i);
    for (let i = 16; i < 64; i += 1) {
      const a = w[i - 15], b = w[i - 2];
      const s0 = (a >>> 7 | a << 25) ^ (a >>> 18 | a << 14) ^ (a >>> 3);
      const s1 = (b >>> 17 | b << 15) ^ (b >>> 19 | b << 13) ^ (b >>> 10);
      w[i] = w[i - 16] + s0 + w[i - 7] + s1;
    }
    let [a, b, c, d, e, f, g, z] = h;
    for (let i = 0; i < 64; i += 1) {
      const s1 = (e >>> 6 | e << 26) ^ (e >>> 11 | e << 21) ^ (e >>> 25 | e << 7);
      const t1 = (z + s1 + ((e & f) ^ (~e & g)) + K[i] + w[i]) | 0;
      const s0 = (a >>> 2 | a << 30) ^ (a >>> 13 | a << 19) ^ (a >>> 22 | a << 10);
      const t2 = (s0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      z = g; g = f; f = e; e = (d + t1) | 0; d = c; c = b; b = a; a = (t1 + t2) | 0;
    }
    [a, b, c, d, e, f, g, z].forEach((v, i) => { h[i] += v; });
  }
  return [...h].map((v) => v.toString(16).padStart(8, "0")).join("");
}

export function canonical(value) {
  if (value === null || typeof value === "boolean") return String(value);
  if (typeof value === "string") {
    encodeURIComponent(value); // throws where a text holds half a character
    return JSON.stringify(value);
  }
  if (typeof value === "number") {
    if (!Number.isFinite(value)) throw new RangeError(`${value} is no number in JSON`);
    return String(value === 0 ? 0 : value);
  }
  if (Array.isArray(value)) return `[${value.map(canonical).join(",")}]`;
  if (typeof value === "object") {
    const keys = Object.keys(value).sort(); // by UTF-16 code units, as RFC 8785 asks
    return `{${keys.map((k) => `${canonical(k)}:${canonical(value[k])}`).join(",")}}`;
  }
  throw new RangeError(`${typeof value} is not JSON`);
}

export const hashOf = (value) => sha256(utf8(canonical(value)));

const BASE32 = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";

export function ulid(ms, random = crypto.getRandomValues(new Uint8Array(10))) {
  let value = BigInt(Math.max(0, Math.floor(ms))) << 80n;
  random.forEach((byte, i) => { value |= BigInt(byte) << BigInt(72 - 8 * i); });
  let text = "";
  for (let shift = 125n; shift >= 0n; shift -= 5n) text += BASE32[Number((value >> shift) & 31n)];
  return text;
}

export const hexOf = (bytes) => [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
