// Margins in words.
import type { Margin } from "../types";
import { quantity } from "../units";

/** A command's name in the program's sentences is set off for the terminal, not for here. */
export const plain = (text: string): string => text.replaceAll("`", "");

/** "V2 6V6GT plate dissipation: 16.7 W, 120 % of 14 W (design-maximum)". */
export function marginWords({ part, of, unit, what, in: unitOf, is, limit, percent, by }: Margin) {
  const name = [part, of, unit].filter(Boolean).join(" ");
  const against =
    limit === null
      ? "no rating given"
      : `${Math.round(percent ?? 0)} % of ${quantity(limit, unitOf)}${by ? ` (${by})` : ""}`;
  return `${name} ${what}: ${quantity(is, unitOf)}, ${against}`;
}
