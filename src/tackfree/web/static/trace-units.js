// Figures as the job reads them. The server says them the same way (units.show).

const FT = 0.3048;

const grouped = (number, places) => {
  const [whole, rest] = number.toFixed(places).split(".");
  const parted = whole.replace(/\B(?=(\d{3})+(?!\d))/g, ",");
  return rest ? `${parted}.${rest}` : parted;
};

export function area(m2, units) {
  if (units === "si") return `${grouped(m2, 1).replaceAll(",", "\u00a0")}\u00a0m²`;
  const ft2 = m2 / FT ** 2;
  return `${grouped(ft2, Math.abs(ft2) < 100 ? 1 : 0)}\u00a0ft²`;
}

// Feet and inches to an eighth, as on a tape; metres to the centimetre.
export function length(m, units) {
  if (units === "si") return `${m.toFixed(2)}\u00a0m`;
  const ticks = Math.round((m / FT) * 12 * 8);
  const [feet, rest] = [Math.floor(ticks / 96), ticks % 96];
  const [whole, part] = [Math.floor(rest / 8), rest % 8];
  const shared = part % 4 === 0 ? 4 : part % 2 === 0 ? 2 : 1;
  const fraction = part ? `${part / shared}/${8 / shared}` : "";
  const inches = [whole || feet || !part ? whole : "", fraction].filter((x) => x !== "").join(" ");
  return feet ? `${feet}'-${inches}"` : `${inches}"`;
}

// Small sizes: widths of cracks and joints.
export function size(m, units) {
  if (m === null || m === undefined) return "–";
  if (units === "si") return `${+(m * 1000).toPrecision(3)}\u00a0mm`;
  const inches = m / 0.0254;
  const ticks = inches * 16;
  if (Math.abs(ticks - Math.round(ticks)) > 1e-6 || inches >= 12) return inches >= 12 ? length(m, units) : `${+inches.toPrecision(2)}\u00a0in`;
  const whole = Math.floor(inches + 1e-9);
  let [top, bottom] = [Math.round(ticks) - whole * 16, 16];
  while (top && top % 2 === 0) [top, bottom] = [top / 2, bottom / 2];
  return `${[whole || !top ? whole : "", top ? `${top}/${bottom}` : ""].filter((x) => x !== "").join(" ")}\u00a0in`;
}
