// SI inside, the job's units at the door. Decimal comma and point are both taken.

const same = { scale: 1, zero: 0 };
const US = {
  temperature: { unit: "°F", scale: 1.8, zero: 32, digits: 0 },
  difference: { unit: "°F", scale: 1.8, zero: 0, digits: 0 },
  speed: { unit: "mph", scale: 1 / 0.44704, zero: 0, digits: 0 },
  length: { unit: "ft", scale: 1 / 0.3048, zero: 0, digits: 1 },
  "small-length": { unit: "in", scale: 1 / 0.0254, zero: 0, digits: 2 },
  area: { unit: "ft²", scale: 1 / 0.09290304, zero: 0, digits: 0 },
  mass: { unit: "lb", scale: 1 / 0.45359237, zero: 0, digits: 0 },
  volume: { unit: "gal", scale: 1 / 3.785411784, zero: 0, digits: 1 },
  stress: { unit: "psi", scale: 1 / 6894.757293168, zero: 0, digits: 0 },
  rain: { unit: "in", scale: 1 / 25.4, zero: 0, digits: 2 },
  film: { unit: "mil", scale: 1 / 25.4, zero: 0, digits: 1 },
};
const SI = {
  temperature: { unit: "°C", ...same, digits: 1 },
  difference: { unit: "K", ...same, digits: 1 },
  speed: { unit: "m/s", ...same, digits: 1 },
  length: { unit: "m", ...same, digits: 2 },
  "small-length": { unit: "mm", scale: 1000, zero: 0, digits: 0 },
  area: { unit: "m²", ...same, digits: 1 },
  mass: { unit: "kg", ...same, digits: 0 },
  volume: { unit: "L", ...same, digits: 1 },
  stress: { unit: "MPa", scale: 1e-6, zero: 0, digits: 2 },
  rain: { unit: "mm", ...same, digits: 1 },
  film: { unit: "µm", ...same, digits: 0 },
};
const BOTH = {
  share: { unit: "%", scale: 100, zero: 0, digits: 0 },
  hours: { unit: "h", ...same, digits: 2 },
  plain: { unit: "", ...same, digits: 2 },
};
const NBSP = "\u00a0";

export const rule = (of, units) => BOTH[of] ?? (units === "si" ? SI : US)[of];

// A typed number; NaN where it is none. "1,5" and "1.5" are the same; "1,234.5" is not guessed at.
export function typed(text) {
  const plain = text.trim().replace(/[\s\u00a0]/g, "").replace("−", "-");
  return /^[-+]?(\d+([.,]\d*)?|[.,]\d+)$/.test(plain) ? Number(plain.replace(",", ".")) : NaN;
}

// SI of a number as typed, without the noise of the conversion.
export function toSi(number, of, units) {
  const { scale, zero } = rule(of, units);
  return Number(((number - zero) / scale).toPrecision(12));
}

export function plainNumber(value, digits) {
  return String(Number(value.toFixed(digits)));
}

export function fromSi(value, of, units) {
  const { scale, zero, digits } = rule(of, units);
  return plainNumber(value * scale + zero, Math.max(digits, of === "temperature" ? 1 : digits));
}

export function show(value, of, units, comma = false) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const { unit, scale, zero, digits } = rule(of, units);
  const [whole, part] = (value * scale + zero).toFixed(digits).replace("-", "−").split(".");
  // As on paper: a comma parts thousands beside a US unit alone, else a space that does not break.
  const group = BOTH[of] || units === "si" || comma ? NBSP : ",";
  const parted = whole.replace(/\B(?=(\d{3})+$)/g, group);
  return (part === undefined ? parted : `${parted}${comma ? "," : "."}${part}`) + (unit ? NBSP + unit : "");
}
