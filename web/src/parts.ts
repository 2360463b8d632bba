// Where a part's leads go, as the amp file has it.
import type { Part } from "./types";

/** The nodes that its leads are on; a lead that goes nowhere has none. */
export const leadsOf = (part: Part | undefined): string[] =>
  part?.nodes.filter((node): node is string => node !== null) ?? [];

/** "V3.1 to V4.2"; a tube's pins say it themselves. */
export const leadWords = (part: Part | undefined): string =>
  part?.kind === "tube" ? "" : leadsOf(part).join(" to ");
