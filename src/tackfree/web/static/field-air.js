// Dew point, go or wait, pot life and cure times from a sheet: no page, no network, no clock.

// Hyland and Wexler 1983 over water, in ASHRAE Handbook - Fundamentals 2017, ch. 1, eq. 6.
const W = [-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 6.5459673];
const lnP = (k) => W[0] / k + W[1] + W[2] * k + W[3] * k ** 2 + W[4] * k ** 3 + W[5] * Math.log(k);
const slope = (k) => -W[0] / k ** 2 + W[2] + 2 * W[3] * k + 3 * W[4] * k ** 2 + W[5] / k;

// Dew point over water [°C] of air [°C] and humidity (0, 1]; NaN where that cannot be.
export function dewPoint(airC, rh) {
  if (!(rh > 0 && rh <= 1) || !(Math.abs(airC) <= 90)) return NaN;
  const ln = Math.log(rh) + lnP(airC + 273.15);
  const g = ln - Math.log(611.2); // Magnus starts, Newton finishes
  let k = (243.12 * g) / (17.62 - g) + 273.15;
  for (let i = 0; i < 3; i += 1) k -= (lnP(k) - ln) / slope(k);
  return k - 273.15;
}

// What readings say against the limits that hold for a product.
// {word: go|wait|unknown, reasons: [{id, of, value, limit}], dew_c, spread_k}
export function verdict(reading, limits) {
  const dew = dewPoint(reading.air_c, reading.rh);
  const spread = reading.slab_c - dew;
  const reasons = [];
  const under = (id, of, value, limit) => {
    if (limit !== undefined && limit !== null && value < limit - 1e-9) reasons.push({ id, of, value, limit });
  };
  const over = (id, of, value, limit) => {
    if (limit !== undefined && limit !== null && value > limit + 1e-9) reasons.push({ id, of, value, limit });
  };
  under("slab-cold", "temperature", reading.slab_c, limits.surface_min_c);
  over("slab-hot", "temperature", reading.slab_c, limits.surface_max_c);
  under("air-cold", "temperature", reading.air_c, limits.air_min_c);
  over("air-hot", "temperature", reading.air_c, limits.air_max_c);
  under("spread-small", "difference", spread, limits.spread_min_k);
  over("air-damp", "share", reading.rh, limits.rh_max);
  if (Number.isFinite(reading.wind_m_s)) over("wind", "speed", reading.wind_m_s, limits.wind_max_m_s);
  const unknown = !Number.isFinite(spread) || limits.spread_min_k === undefined;
  const word = reasons.length ? "wait" : unknown ? "unknown" : "go";
  return { word, reasons, dew_c: dew, spread_k: spread };
}

// Minutes in the pail: straight in the logarithm between the sheet's points, halving for
// every 10 K beyond them (practice).
export function potLife(points, tempC) {
  const known = [...(points ?? [])].sort((a, b) => a.temp_c - b.temp_c);
  if (!known.length || !Number.isFinite(tempC)) return null;
  const below = known.filter((p) => p.temp_c <= tempC).pop();
  const above = known.find((p) => p.temp_c >= tempC);
  if (below && above) {
    if (below.temp_c === above.temp_c) return below.minutes;
    const share = (tempC - below.temp_c) / (above.temp_c - below.temp_c);
    return below.minutes * (above.minutes / below.minutes) ** share;
  }
  const end = below ?? above;
  return end.minutes * 2 ** ((end.temp_c - tempC) / 10);
}

// Hours of a cure time at one slab temperature, {best, careful}: between the sheet's points
// straight in the logarithm. Warmer than the warmest point no time is saved; colder than the
// coldest the time doubles for every 10 K (practice), and `beyond` says so.
export function cureHours(points, name, slabC) {
  const known = (points ?? []).filter((p) => p[name]).sort((a, b) => a.temp_c - b.temp_c);
  if (!known.length || !Number.isFinite(slabC)) return null;
  const ends = (p) => ({ best: p[name][0], careful: p[name][1] });
  const first = known[0], last = known[known.length - 1];
  if (slabC >= last.temp_c) return { ...ends(last), beyond: false };
  if (slabC < first.temp_c) {
    const by = 2 ** ((first.temp_c - slabC) / 10);
    const e = ends(first);
    return { best: e.best * by, careful: e.careful * by, beyond: true };
  }
  const k = known.findIndex((p) => p.temp_c > slabC);
  const a = known[k - 1], b = known[k];
  const share = (slabC - a.temp_c) / (b.temp_c - a.temp_c);
  const mid = (x, y) => x * (y / x) ** share;
  return {
    best: mid(a[name][0], b[name][0]), careful: mid(a[name][1], b[name][1]), beyond: false,
  };
}

// Mean wet film [µm] that kits leave over an area, by volume alone: the most it can be.
export const filmByVolume = (litres, areaM2) => (areaM2 > 0 ? (1000 * litres) / areaM2 : null);
