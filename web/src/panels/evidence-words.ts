// How readings other than plain volts are written (docs/readings-file.md), and what they ask of hands.

/** A place where volts are read, and no other test: those have words behind the place. */
export const isPlace = (at: string): boolean => !at.includes(" ");

export const DEAD =
  "Switched off, plug out, capacitors drained and measured before a hand goes in. Not sure? Stop.";
export const LIVE_AC =
  "One hand; AC volts, behind a capacitor where DC stands beside. The signal small enough not to clip.";

/** Whether it is read in a live amp, by one hand, or hands go into a dead one first. */
export const hands = (at: string): "live" | "dead" =>
  /\b(cold|alone|ESR|leak|contact)$|\bwith .*\b(pulled|lifted|grounded|exchanged|new|bridged)\b/.test(
    at,
  )
    ? "dead"
    : "live";

const VOLTS = "0.02, 340 mV";

export const DO = [
  { value: "hum", words: "Hum", like: "B2 hum", reads: "4.8 V, 12 mV" },
  { value: "signal", words: "Signal", like: "V1.1 @1kHz,20mV J1", reads: "1.15 V" },
  { value: "cold", words: "Cold ohms", like: "V2.1-B2 cold", reads: "100k, open" },
  { value: "alone", words: "Part alone", like: "R7 alone", reads: "250k, 22n" },
  { value: "ESR", words: "ESR", like: "C1 ESR", reads: "30" },
  { value: "leak", words: "Leakage", like: "C4 leak", reads: "20M, none" },
  { value: "contact", words: "Pin contact", like: "V2.3 contact", reads: "0.2, open" },
  { value: "pulled", words: "Tube pulled", like: "V2.3 with V1 pulled", reads: VOLTS },
  { value: "lifted", words: "Lead lifted", like: "V2.5 with C6 lifted", reads: VOLTS },
  { value: "grounded", words: "Grid shorted", like: "B2 hum with V1.2 grounded", reads: VOLTS },
  {
    value: "exchanged",
    words: "Tubes exchanged",
    like: "V4.5 with V4 and V5 exchanged",
    reads: VOLTS,
  },
  { value: "new", words: "Good part in", like: "V1.1 with V1 new", reads: VOLTS },
  { value: "bridged", words: "Capacitor bridged", like: "B2 hum with C9 bridged", reads: VOLTS },
  { value: "turned", words: "Control turned", like: "B2 hum with P1 at 0", reads: VOLTS },
];
