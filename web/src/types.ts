// The shapes that the API answers with: docs/api.md, docs/facts.md, docs/json.md.

export interface Fault {
  code: string;
  file?: string | null;
  line?: number | null;
  column?: number | null;
  cause: string;
  remedy?: string | null;
}

export interface Shop {
  name: string;
  address: string;
  contact: string;
  currency: string;
  tax_percent: number;
  hourly: number;
  paper: "A4" | "letter";
  next_number: number;
}

export interface JobRow {
  job: number;
  number: number | string;
  owner: string;
  amp: string;
  complaint: string;
  stage: Stage;
  opened: number;
  closed: number | null;
  found: string | null;
}

export const STAGES = [
  "take in",
  "make safe",
  "look over",
  "measure",
  "find",
  "decide",
  "repair",
  "prove",
  "hand back",
] as const;
export type Stage = (typeof STAGES)[number] | "done";

export type DrainState = "not measured" | "above 60 V" | "below 60 V" | "powered since" | "on";

export interface DrainedCapacitor {
  part: string;
  node: string;
  value: string;
  rating: number | null;
  volts: number | null;
  at: number | null;
  expected_volts: number | null;
  below_60: boolean; // by a reading that counts now
}

export interface Look {
  part: string;
  state: "original" | "replaced" | "changed" | null;
  condition: string[] | null;
  code: string | null;
  note: string | null;
  fact: number;
}

export interface Edit {
  phase: "found" | "repaired";
  part: string;
  key: string | null;
  from: string | null;
  to: string | null;
  yaml: string | null;
  does: "change" | "add" | "remove";
  reason: string | null;
  fact: number;
}

export interface Reading {
  at: string;
  volts: number;
  meter: string | null;
  mains: number | null;
  fact: number;
  when: number;
}

export interface Decision {
  part: string;
  action: "replace" | "leave" | "clean" | "test";
  reason: "safety" | "failing" | "reliability" | "originality" | "owner's wish";
  what: string | null;
  substitute: string | null;
  price: number | null;
  minutes: number | null;
  bag: boolean | null;
  note: string | null;
  fact: number;
}

export interface MoneyLine {
  text: string;
  amount: number;
}

export interface Estimate {
  lines: MoneyLine[];
  total: number;
  note: string | null;
  fact: number;
}

export interface Acceptance {
  accepted: boolean;
  by: string;
  how: string | null;
  note: string | null;
  fact: number;
}

export interface Work {
  text: string;
  part: string | null;
  pins: string | null;
  done: boolean;
  minutes: number | null;
  fact: number;
}

export interface Check {
  what: string;
  result: "good" | "poor" | "not tried";
  note: string | null;
  fact: number;
}

export interface Photo {
  hash: string;
  caption: string | null;
  part: string | null;
  fact: number;
}

export interface HandBack {
  found: string;
  done: string;
  kept: string | null;
  cautions: string | null;
  advice: string | null;
  cause_part: string | null;
  cause_what: string | null;
}

export interface Invoice {
  lines: MoneyLine[];
  tax_percent: number | null;
  total: number;
}

export interface View {
  job: number;
  number: number | string;
  opened: number;
  closed: number | null;
  stage: Stage;
  next: string;
  owner: string;
  contact: string | null;
  complaint: string;
  keep: string | null;
  accessories: string[] | null;
  serial: string | null;
  year: number | null;
  amp: {
    name: string; // in the library or the shop
    title: string | null; // what the file calls itself
    family: string | null;
    story: string | null;
    library: boolean;
    drawn: boolean; // false while no amp of that name is known
    transformerless: boolean;
  };
  powered: { on: boolean; at: number | null; ever: boolean };
  drained: {
    state: DrainState;
    measured_below_60: boolean;
    words: string;
    oldest_at: number | null;
    capacitors: DrainedCapacitor[];
  };
  cord: { wires: number; chassis_capacitor: boolean | null } | null;
  looks: Look[];
  edits: Edit[];
  readings: { before: Reading[]; after: Reading[] };
  tests?: { phase: Phase; at: string; value: string; fact: number }[];
  symptoms?: { said: string; phase: Phase | null; fact: number }[];
  findings?: { said: string; phase: Phase | null; fact: number }[];
  decisions: Decision[];
  estimate: Estimate | null;
  acceptance: Acceptance | null;
  work: Work[];
  minutes: number;
  checks: Check[];
  soak: { minutes: number; result: "good" | "poor"; note: string | null } | null;
  notes: { text: string; fact: number }[];
  papers: { what: string; lines: string[]; fact: number; when: number }[]; // kept for the report
  photos: Photo[];
  hand_back: HandBack | null;
  invoice: Invoice | null;
  facts: number;
  last: number;
}

export interface Fact {
  id: number;
  at: number;
  kind: string;
  body: Record<string, unknown>;
  replaces: number | null;
  undone: boolean;
}

export interface Recorded {
  fact: number;
  view: View;
  errors?: Fault[];
}

export interface Safety {
  warning: string | null;
  steps: string[];
  through_ohms: number;
  joules: number | null; // in all of them
  hold_s: number; // how long to hold the resistor on each
  capacitors: {
    part: string;
    node: string;
    other: string; // the other end: "ground", or a node
    negative: boolean; // its chassis end is the positive one
    farads: number;
    rating_v: number | null;
    volts: number | null;
    joules: number | null;
    seconds_to_60: number | null;
    seconds_to_1: number | null;
    peak_watts: number | null;
    self_60_s: number | null; // with no resistor on it
    back_v: number | null; // what it may win back
    left: string[] | null; // others that stand over 60 V when this one alone was drained
  }[];
}

export interface Part {
  name: string;
  kind: string;
  value: string | null;
  what: string | null;
  material: string | null;
  original: boolean | null;
  sits: string | null;
  rating: string | null;
  nodes: (string | null)[]; // by lead; null: it goes nowhere
}

export interface JobAmp {
  name: string;
  text: string;
  parts: Part[];
}

export interface Difference {
  part: string;
  key: string | null;
  from: string | null;
  to: string | null;
  does: "change" | "add" | "remove";
  undo: string;
}

export interface Dates {
  codes: {
    part: string;
    code: string;
    maker: string | null;
    year_digit: number | string | null;
    week: number | null;
    years: number[];
    problem: string | null; // why the code cannot be read
  }[];
  earliest: number | null;
  week: number | null;
  alternatives: number[];
  outliers: { part: string; words: string; later: boolean }[];
  words: string;
}

export interface AmpRow {
  name: string;
  amp: string | null; // what the file calls itself
  family: string | null;
  story: string | null;
  own: boolean;
}

export interface History {
  alike: number;
  causes: { part: string; what: string; count: number }[];
}

/* ---- the chart, the suspects and what follows from them ------------------------------------------ */

export type Phase = "before" | "after";

export interface Meter {
  ohms: number | null;
  ohms_per_volt: number | null;
  range: number | null;
}

export interface Probe {
  tube: string;
  base: string; // "octal 8"
  pins: number;
  pin: number;
  electrode: string;
}

export interface ChartLine {
  at: string;
  what: string;
  quantity: string;
  volts: number | null;
  shown: number | null;
  low: number | null;
  high: number | null;
  source_ohms: number | null;
  printed: number | null;
  printed_shown: number | null;
  // of a job's chart only
  read?: number | null;
  verdict?: "" | "low" | "high" | "inside";
  probe?: Probe | null;
}

export interface Rating {
  system: string;
  plate_w: number | null;
  screen_w: number | null;
  plate_percent: number | null;
  source: string | null;
}

export interface ChartTube {
  tube: string;
  type: string;
  unit: string | null;
  plate_v: number | null;
  screen_v: number | null;
  grid_v: number | null;
  cathode_v: number | null;
  plate_ma: number | null;
  screen_ma: number | null;
  plate_w: number | null;
  screen_w: number | null;
  heater_ratio: number | null;
  trusted: boolean;
  ratings: Rating[];
}

export interface Chart {
  amp: string;
  mains_v: number;
  mains_hz: number;
  meter: Meter;
  outcome: string;
  lines: ChartLine[];
  tubes: ChartTube[];
  rectifiers: { name: string; dc_v: number | null; dc_ma: number | null }[];
}

export interface Suspect {
  part: string; // also "nothing", "unmodelled", "mains"
  what: string;
  probability: number; // of this alone
  involved: number; // of this, alone or as one of two
  group: number;
}

export interface SuspectPair {
  both: { part: string; what: string }[];
  words: string;
  probability: number;
  group: number;
}

export interface NextReading {
  at: string;
  quantity: string;
  bits: number;
  cost: number;
  why: string;
  caution?: string | null;
}

/** What may be told as a symptom or a finding. */
export interface SymptomKind {
  key: string;
  also: string[];
  names: string | null; // what must stand behind it
  ground: string | null;
}

export interface Compared {
  at: string;
  quantity: string; // "DC volts", "AC volts", "ohms"
  unit: "V" | "ohm" | "F";
  read: number;
  healthy: number | null;
  predicted: number | null;
  spread: number | null;
  chance_wrong: number;
  by_suspect: { part: string; what: string; volts: number | null }[];
}

export interface Suspects {
  mains_v: number;
  mains_measured: boolean;
  verdict: "not enough" | "leaning" | "settled" | "healthy" | "strange";
  reason: string;
  suspects: Suspect[];
  pairs: SuspectPair[];
  groups: { probability: number; members: number; pairs: number; tell: string | null }[];
  next: NextReading[];
  tests: NextReading[]; // what else to try: other readings, and after something was done
  readings: Compared[];
  symptoms?: { said: string; by_leader: number | null; good: number | null }[];
  trusted: boolean;
  shop?: { alike: number; used: boolean };
}

export interface Substitutes {
  part: string;
  across: number | null; // V at idle
  burns: number | null; // W at idle
  choices: {
    text: string;
    value: number | null;
    volts: number | null;
    watts: number | null;
    kind: string | null;
    note: string | null;
  }[];
  keep: string | null; // when to leave the old one in
  difference?: string | null; // whether the first choice is heard, measured, or neither
  effects?: { what: string; in: string | null; before: number; after: number }[];
}

export interface ComparePlace {
  at: string;
  what: string | null;
  expected_before: number | null;
  before: number | null;
  expected_after: number | null;
  after: number | null;
  verdict: "" | "low" | "high" | "inside"; // of the reading after
  words: string;
}

export interface CompareTube {
  tube: string;
  type: string;
  unit: string | null;
  watts_before: number | null; // by the readings
  watts_after: number | null;
  watts_expected: number | null; // of a good amp
  rating_w: number | null;
  system: string | null;
  percent_after: number | null;
}

export interface Compare {
  places: ComparePlace[];
  tubes: CompareTube[];
}

export interface TubeUnit {
  tube: string;
  type: string;
  unit: number;
  name: string | null;
  kind: string;
  does: string | null;
}

export interface Checked {
  errors: Fault[];
  warnings: Fault[];
}

export interface LibraryAmp extends AmpRow, Checked {
  text: string;
  transformerless: boolean;
  parts: Part[];
  tubes: TubeUnit[];
  chart: Chart | null;
}

interface PlateLine {
  plate_v: number[];
  plate_ma: number[];
}

export interface Curves {
  tube: string;
  type: string;
  unit: string | null;
  plate_v: number[];
  curves: { grid_v: number; plate_ma: number[] }[];
  load: PlateLine | null;
  load_ohms: number | null;
  point: { plate_v: number | null; plate_ma: number | null; grid_v: number | null };
  limit: PlateLine | null;
  limit_w: number | null;
  system: string | null;
  screen_v: number | null;
  most: { plate_v: number; plate_ma: number };
  trusted: boolean;
}

/* ---- signals ------------------------------------------------------------------------------------- */

export interface AmpControl {
  part: string;
  what: string | null;
  kind: "pot" | "switch";
  position: number; // a pot 0 to 10; a switch 1, or 0 for open
}

export interface ResponseStage {
  at: string;
  what: string | null;
  gain: number;
  gain_db: number | null;
  phase_deg: number | null;
}

export interface Response {
  from: string;
  to: string;
  hertz: number; // of the stages
  low_hz: number | null;
  high_hz: number | null;
  stages: ResponseStage[];
  sweep: { hertz: number; gain_db: number | null; phase_deg: number | null }[];
  inputs: { part: string; what: string | null }[];
  controls: AmpControl[];
}

export interface HumLine {
  at: string;
  what: "supply" | "speaker";
  dc_v: number | null;
  mains_v: number; // rms at the mains' frequency, at twice it, above
  twice_v: number;
  above_v: number;
  wave: number[];
}

export interface Hum {
  mains_hz: number;
  ms: number[];
  words: string;
  lines: HumLine[];
  parts: { part: string; about: string; unit: string | null; what: string; speaker_v: number }[];
}

export interface TremoloPart {
  part: string;
  about: string;
  what: string;
  control: boolean;
  effect: "stops" | "unheard" | "slower" | "faster" | "none";
  hertz: number | null;
}

export interface Tremolo {
  oscillator: {
    tube: string;
    type: string;
    unit: string | null;
    does: string | null;
    starts: boolean;
    hertz: number;
  } | null;
  words: string[];
  parts: TremoloPart[];
  others: { hertz: number; words: string }[];
}

/* ---- on paper ------------------------------------------------------------------------------------ */

export interface Margin {
  part: string;
  of: string | null;
  unit: string | null;
  what: string;
  in: string;
  is: number | null;
  limit: number | null; // null: no rating is given
  at_least: boolean;
  percent: number | null;
  state: "over" | "close" | "no rating given" | "well";
  by: string | null;
  remedy: string | null;
}

export interface MarginList {
  mains_v: number;
  margins: Margin[];
}

export interface Moved {
  before: Margin | null;
  after: Margin | null;
}

interface SwapTubeState {
  type: string;
  plate_v: number | null;
  screen_v: number | null;
  cathode_v: number | null;
  plate_ma: number | null;
  plate_w: number | null;
  plate_percent: number | null;
}

export interface SwapTube {
  tube: string;
  unit: string | null;
  before: SwapTubeState;
  after: SwapTubeState;
}

interface SwapTremolo {
  starts: boolean;
  hertz: number;
  reach: number | null;
}

export interface Swapped {
  mains_before_v: number;
  mains_after_v: number;
  changes: { part: string; key: string; from: string | null; to: string | null }[];
  broken: Moved[];
  mended: Moved[];
  tubes: SwapTube[];
  nodes: { node: string; before: number; after: number }[];
  margins: Moved[];
  tremolo: { before: SwapTremolo; after: SwapTremolo } | null;
}

export interface Fuse {
  part: string | null;
  where: string;
  running_a: number | null;
  inrush_a: number | null;
  fault_a: number | null;
  fitted_a: number | null;
  fitted_kind: string | null;
  right: string;
  why: string;
  wrong: string | null;
}

export interface FuseList {
  mains_v: number;
  fuses: Fuse[];
}

export interface PowerPlot {
  seconds: number[];
  lines: { name: string; unit: "V" | "A"; low: number[]; high: number[] }[];
}

export interface Powerup {
  mains_v: number;
  on_s: number; // when it is switched off
  missing: string | null;
  remarks: string[];
  capacitors: {
    part: string;
    node: string;
    peak_v: number;
    peak_s: number;
    percent: number | null;
    working_v: number;
    ripple_v: number;
    off_60_s: number | null;
    off_kept: boolean;
    off_v: number;
    filter: boolean;
  }[];
  rectifiers: {
    name: string;
    type: string | null;
    again_a: number;
    working_peak_a: number;
    peak_limit_a: number | null;
  }[];
  fuses: { name: string; where: string; running_a: number; peak_a: number; tenth_a2s: number }[];
  start: PowerPlot;
  whole: PowerPlot;
  rest: PowerPlot;
}

export interface Output {
  class: string;
  speaker_ohms: number;
  watts: number; // just before it clips
  distortion_percent: number;
  why: string; // what ends it
  remarks: string[];
  levels: {
    drive_v: number;
    watts: number;
    distortion_percent: number;
    supply_v: number;
    plate_percent: number | null;
  }[];
  line: { plate_v: number[]; plate_ma: number[]; point_v: number; point_ma: number };
  speaker_v: number[];
}

export interface ValuePoint {
  value: number;
  reached: number;
  percent: number | null;
  fit_w: number | null;
  breaks: string | null;
  mends: string | null;
}

export interface Valued {
  part: string;
  target: string;
  aim: string;
  limit: string | null; // why it is out of reach
  now: ValuePoint;
  exact: ValuePoint | null;
  below: ValuePoint | null;
  above: ValuePoint | null;
}

export interface MainsNow {
  drawn_v: number;
  now_v: number;
  heater_drawn_percent: number | null;
  heater_now_percent: number | null;
  swap: Swapped;
  remedies: {
    name: string;
    fit: string;
    burns_w: number | null;
    supply_v: number | null;
    heater_percent: number | null;
    note: string | null;
  }[];
}

/* ---- the meter, the guide, the practice bench ---------------------------------------------------- */

export interface Settled {
  state: "wait" | "settled" | "falling" | "rising" | "unstable" | "open" | "overload";
  volts: number | null;
  tau_s: number | null;
  to_60_s: number | null;
  to_1_s: number | null;
  words: string | null;
}

export interface LiveMeter {
  status: "none" | "connecting" | "reading" | "quiet" | "lost";
  address: string | null;
  identity: string | null;
  profile: string | null;
  words: string | null; // what is the matter, and the remedy
  ac: boolean;
  volts: number | null;
  word: "number" | "overload" | "none" | "garbled";
  s: number | null; // of a clock of its own
  settled: Settled;
}

export interface MetersFound {
  found: { address: string; about: string | null }[];
  profiles: string[];
}

export interface GuideDrain {
  at: string;
  state: "looking" | "charged" | "falling" | "stuck" | "below 60 V" | "rising again" | "clip off";
  words: string | null;
  volts: number | null;
  tau_s: number | null;
  to_60_s: number | null;
  to_1_s: number | null;
  fact: number; // 0: not recorded yet
}

export interface Guide {
  lead: "none" | "probe" | "drain";
  job: number;
  phase: Phase | null;
  step: "idle" | "caution" | "move" | "settling" | "confirm" | "taken" | "done" | "stopped" | null;
  seq: number;
  point: { at: string; kind: "low" | "high" | "heater"; why: string | null } | null;
  caution: string | null;
  say: string[];
  tone: "taken" | "far" | null;
  last: { at: string; volts: number; fact: number } | null;
  taken: number;
  reason: string | null;
  trouble: string | null;
  drain: GuideDrain | null;
}

export interface Practice {
  here: boolean;
  on: boolean;
  clipped: boolean; // the drain resistor
  over: boolean;
  at: string | null;
  readings: number;
  wrong: number;
  replaced: { part: string; was_it: boolean }[];
  risky: string[];
  score: {
    faults: { part: string; what: string; found: boolean }[];
    readings: number;
    fewest: number | null;
  } | null;
}
