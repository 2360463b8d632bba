// Numbers as the bench writes them: read from typing, written for reading.

export type Typed =
  | { kind: "empty" }
  | { kind: "half"; words: string } // not finished: no complaint while typing
  | { kind: "wrong"; words: string }
  | { kind: "number"; value: number };

const UNIT = /\s*(kv|mv|v|ma|ohms?|volts?)?$/i;
const PREFIX: Record<string, number> = { k: 1e3, K: 1e3, M: 1e6, m: 1e-3 };
const SCALE: Record<string, number> = { kv: 1e3, mv: 1e-3, ma: 1e-3 };

/** Reads what is typed into a number field: `182`, `1.2`, `-42`, `1,5`, `.5`, `420 mV`, `4k7`. */
export function readNumber(text: string): Typed {
  const trimmed = text.trim().replace(/^[−–]/, "-");
  if (trimmed === "") return { kind: "empty" };
  const unit = UNIT.exec(trimmed)?.[1]?.toLowerCase() ?? "";
  const digits = trimmed.replace(UNIT, "").replace(/\s/g, "");
  if (/^[-+]?\d{1,3}(,\d{3})+$/.test(digits) && !/^[-+]?0,/.test(digits))
    return {
      kind: "wrong",
      words: `${digits} can be read in two ways. Write it with a point, or without the comma.`,
    };
  const infix = /^([-+]?\d+)k(\d+)$/i.exec(digits);
  const plain = (infix ? `${infix[1]}.${infix[2]}k` : digits).replace(",", ".");
  if (/^[-+]?$|^[-+]?\.$|^[-+]?\d+\.$/.test(plain))
    return { kind: "half", words: `Finish the number: ${text.trim()}` };
  const found = /^([-+]?(?:\d+\.?\d*|\.\d+))(k|m)?$/i.exec(plain);
  if (!found)
    return {
      kind: "wrong",
      words: `“${text.trim()}” is not a number. Write it like 182, 1.2 or -42.`,
    };
  return {
    kind: "number",
    value: Number(found[1]) * (PREFIX[found[2] ?? ""] ?? 1) * (SCALE[unit] ?? 1),
  };
}

/** A pasted column of readings: each line's last number, and its place where one stands before it. */
export function readColumn(text: string): { at: string | null; typed: Typed }[] {
  return text
    .split(/\r?\n/)
    .map((line) => line.trim())
    .filter(Boolean)
    .map((line) => {
      const found = /^([A-Za-z]\w*(?:[.-]\w+)*(?:-[A-Za-z]\w*(?:\.\w+)?)?)\s*[=:;\t ]\s*(.+)$/.exec(
        line,
      );
      return found
        ? { at: found[1]!, typed: readNumber(found[2]!) }
        : { at: null, typed: readNumber(line) };
    });
}

const MINUS = "\u2212";

/** Volts with the figures that a bench meter shows: 0.42, 1.71, 24.0, 381. */
export function volts(value: number | null | undefined): string {
  if (value === null || value === undefined) return "\u2013";
  const size = Math.abs(value);
  const text = size.toFixed(size >= 99.95 ? 0 : size >= 9.995 ? 1 : 2);
  return value < 0 && Number(text) !== 0 ? MINUS + text : text;
}

const STEPS: [number, string][] = [
  [1e6, "M"],
  [1e3, "k"],
  [1, ""],
  [1e-3, "m"],
  [1e-6, "\u00b5"],
  [1e-9, "n"],
  [1e-12, "p"],
];

/** A value with its unit in three figures: 4.70 kohm is written 4.7 kohm, 22 µF, 1.2 J. */
export function quantity(value: number | null | undefined, unit: string): string {
  if (value === null || value === undefined) return "\u2013";
  if (value === 0) return `0 ${unit}`;
  const [scale, prefix] =
    STEPS.find(([least]) => Math.abs(value) >= least * 0.9995) ?? STEPS.at(-1)!;
  return `${Number((value / scale).toPrecision(3))} ${prefix}${unit}`;
}

/** "377 \u2192 407 V"; one figure where nothing moves. */
export function arrow(before: number | null, after: number | null, unit: string): string {
  const [a, b] = [volts(before), volts(after)];
  return a === b ? `${a} ${unit}` : `${a} \u2192 ${b} ${unit}`;
}

/** 22u, 4.7k: as a change is written. */
export function trade(value: number): string {
  const [scale, prefix] = STEPS.find(([least]) => value >= least * 0.9995) ?? STEPS.at(-1)!;
  return `${Number((value / scale).toPrecision(3))}${prefix === "\u00b5" ? "u" : prefix}`;
}

/** 58.9 Hz, 8.02 kHz. */
export const hertz = (value: number): string =>
  value >= 999.5
    ? `${Number((value / 1000).toPrecision(3))} kHz`
    : `${Number(value.toPrecision(3))} Hz`;

export function seconds(value: number | null | undefined): string {
  if (value === null || value === undefined) return "\u2013";
  if (value < 1) return "under 1 s";
  return value < 100 ? `${Math.ceil(value)} s` : `${Math.ceil(value / 60)} min`;
}

// Day before month, as the page's English has it, whatever the browser is set to. By hand: Intl takes
// tens of milliseconds to wake, at every opening.
const MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sept Oct Nov Dec".split(" ");

export function clock(at: number): string {
  const time = new Date(at);
  return `${String(time.getHours()).padStart(2, "0")}:${String(time.getMinutes()).padStart(2, "0")}`;
}

export function date(at: number): string {
  const time = new Date(at);
  const year = time.getFullYear();
  const day = `${time.getDate()} ${MONTHS[time.getMonth()]}`;
  return year === new Date().getFullYear() ? day : `${day} ${year}`;
}

/** "10:42" today, "3 Nov 10:42" before. */
export function when(at: number): string {
  return new Date(at).toDateString() === new Date().toDateString()
    ? clock(at)
    : `${date(at)} ${clock(at)}`;
}

/* ---- sentences ------------------------------------------------------------------------------- */

/** What the program says of a fault, as a sentence: it begins small and has no full stop. */
export function sentence(text: string): string {
  const whole = text.trim();
  return whole.charAt(0).toUpperCase() + whole.slice(1) + (/[.!?]$/.test(whole) ? "" : ".");
}

/* ---- money: in the shop's smallest coin ------------------------------------------------------ */

function moneyFormat(currency: string): Intl.NumberFormat | null {
  try {
    return new Intl.NumberFormat(undefined, { style: "currency", currency });
  } catch {
    return null; // not a currency's three letters
  }
}

const coinDigits = (currency: string): number =>
  moneyFormat(currency)?.resolvedOptions().maximumFractionDigits ?? 2;

/** 65.5 in EUR is 6550 coins. */
export const coins = (amount: number, currency: string): number =>
  Math.round(amount * 10 ** coinDigits(currency));

/** 6550 coins are "65.50": as a field shows it, to be typed over. */
export const inCoins = (amount: number, currency: string): string =>
  (amount / 10 ** coinDigits(currency)).toFixed(coinDigits(currency));

/** An amount as the shop's currency writes it. */
export function money(amount: number | null | undefined, currency: string): string {
  if (amount === null || amount === undefined) return "\u2013";
  const format = moneyFormat(currency);
  return format
    ? format.format(amount / 10 ** coinDigits(currency))
    : `${inCoins(amount, currency)} ${currency}`.trim();
}
