// One probe point at a time, in figures that can be read from two metres.
import { useEffect, useLayoutEffect, useRef } from "preact/hooks";
import { useKeys } from "../keys";
import { leadsOf } from "../parts";
import { useDraft } from "../store";
import type { Chart, ChartLine, NextReading, Part, Phase, View } from "../types";
import { Button, NumberField } from "../ui/controls";
import { Wait } from "../ui/frame";
import { Mark } from "../ui/marks";
import { readNumber, volts } from "../units";
import type { Asked } from "./find-suspects";
import { VerdictMark } from "./measure-chart";
import { band, lineAt, whatWords, type Readings } from "./measure-readings";
import { isPlace } from "./evidence-words";
import { bases, partsAt, PlaceDrawing } from "./measure-socket";

interface Walk {
  at: string; // the place in hand; "" asks for the next one
  why: string; // the reason for it
  skipped: string[];
  past: string[];
  last: string; // the place that was read last
}

/** Where the probe goes now, and how it came there. Kept, so that a reload changes nothing. */
export function useWalk(view: View, phase: Phase) {
  return useDraft<Walk>(`probe ${view.job} ${phase}`, {
    at: "",
    why: "",
    skipped: [],
    past: [],
    last: "",
  });
}

interface Props {
  view: View;
  chart: Chart;
  parts: Part[];
  readings: Readings;
  asked: Asked;
}

interface Point {
  line: ChartLine;
  why: string;
}

const REST = "No reading tells the suspects apart any more: the rest of the chart, in order.";

/** What the suspects ask for; where they ask for nothing more, the chart's first unread place. */
function nextPoint({ chart, asked, readings }: Props, { skipped, past }: Walk): Point | null {
  const open = (at: string) =>
    !skipped.includes(at) && !readings.recorded.has(at) && !readings.pending.has(at);
  // One on which much hangs is taken again, once.
  const again = (at: string) => readings.recorded.has(at) && ![...past, ...skipped].includes(at);
  const wanted: NextReading | undefined = asked.data?.next.find(
    ({ at }) => isPlace(at) && (open(at) || again(at)),
  );
  if (wanted) return { line: lineAt(chart, wanted.at), why: wanted.why };
  const rest = chart.lines.find(({ at }) => open(at));
  return rest ? { line: rest, why: REST } : null;
}

/** The place in hand; while the suspects are being worked out, the one before. */
function usePoint(props: Props) {
  const walk = useWalk(props.view, props.readings.phase);
  const { at, why } = walk.value;
  const held = useRef<Point | null>(null);
  const ready = at
    ? { line: lineAt(props.chart, at), why }
    : props.asked.thinking
      ? null
      : nextPoint(props, walk.value);
  if (ready) held.current = ready;
  useEffect(() => {
    if (!at && ready) walk.set({ at: ready.line.at, why: ready.why });
  }, [ready?.line.at]);
  return { walk, ready, held: held.current };
}

function useProbe(props: Props) {
  const { readings, asked } = props;
  const { walk, ready, held } = usePoint(props);
  const { at, skipped, past, last } = walk.value;
  const point = ready ?? (asked.thinking ? held : null);
  const leave = (more: Partial<Walk>) =>
    walk.set({ at: "", why: "", past: [...past, at].filter(Boolean), ...more });
  return {
    point,
    waits: !ready && asked.thinking,
    last,
    take: (value: number) => {
      if (!ready) return;
      readings.take(ready.line.at, value);
      leave({ last: ready.line.at, skipped: skipped.filter((one) => one !== at) });
    },
    skip: () => ready && leave({ skipped: [...skipped, ready.line.at] }),
    back: () => {
      const before = past.at(-1);
      if (before)
        walk.set({
          at: before,
          why: "",
          past: past.slice(0, -1),
          skipped: skipped.filter((one) => one !== before),
        });
    },
    again: () => walk.set({ skipped: [], at: "", why: "" }),
    hasPast: past.length > 0,
  };
}

type Probing = ReturnType<typeof useProbe>;

export function ProbePoint(props: Props) {
  const probe = useProbe(props);
  const { chart, parts } = props;
  if (!probe.point) return probe.waits ? <Wait lines={8} /> : <AllRead probe={probe} />;
  const { line } = probe.point;
  return (
    <section class={`probe-point${probe.waits ? " waits" : ""}`} aria-label="One probe point">
      <div class="probe-words">
        <PlaceWords line={line} parts={parts} chart={chart} />
        <Entry probe={probe} line={line} readings={props.readings} />
        <LastTaken probe={probe} chart={chart} />
      </div>
      <div class="probe-drawing">
        <PlaceDrawing at={line.at} probe={line.probe} known={bases(chart.lines)} parts={parts} />
        <p class="probe-below dim">{line.probe && !line.at.includes("-") ? "From below" : ""}</p>
        <p class="probe-why">{probe.point.why}</p>
        <Caution line={line} view={props.view} parts={parts} />
      </div>
    </section>
  );
}

function AllRead({ probe }: { probe: Probing }) {
  return (
    <div class="probe-point">
      <p class="empty">Every place of the chart was read or skipped.</p>
      <Button onClick={probe.again}>Show the skipped ones again</Button>
    </div>
  );
}

/* ---- the place --------------------------------------------------------------------------------------- */

/** "plate of V2, 6V6GT", "where R16, C9 and R17 join", "across R12, 470". */
export function where(line: ChartLine, parts: Part[], chart: Chart): string {
  const part = parts.find(({ name }) => name === line.at);
  if (part) return `across ${[part.name, part.value, part.what].filter(Boolean).join(", ")}`;
  const [red, black] = line.at.split("-");
  if (black && line.what === "across") return `from ${red} to ${black}`;
  const tube = /^(V\d+)\./.exec(line.at)?.[1];
  const type = chart.tubes.find((one) => one.tube === tube)?.type;
  if (tube && line.what !== "across")
    return `${whatWords(line)} of ${[tube, type].filter(Boolean).join(", ")}`;
  const names = partsAt(parts, line.at).map(({ name }) => name);
  if (names.length > 1) return `where ${names.slice(0, -1).join(", ")} and ${names.at(-1)} join`;
  return whatWords(line);
}

const expected = ({ shown }: ChartLine): string =>
  shown !== null && Math.abs(shown) < 0.005 ? "0" : volts(shown);

function PlaceWords({ line, parts, chart }: { line: ChartLine; parts: Part[]; chart: Chart }) {
  const size = line.at.length > 9 ? "small" : line.at.length > 5 ? "middle" : "";
  return (
    <>
      <h2 class={`probe-at ${size}`}>{line.at}</h2>
      <p class="probe-where">{where(line, parts, chart)}</p>
      <p class="probe-expected">
        {line.shown === null ? (
          <span class="dim">A tie point: the suspects say what to expect</span>
        ) : (
          <>
            <span class="dim">A good amp shows</span>
            <span class="probe-figure">
              {expected(line)}&nbsp;{line.quantity.startsWith("heater") ? "V AC" : "V"}
            </span>
            <span class="dim">{band(line)}</span>
          </>
        )}
      </p>
    </>
  );
}

/* ---- the reading ------------------------------------------------------------------------------------- */

const flipped = (text: string): string =>
  text.trim().startsWith("-") ? text.trim().slice(1) : `-${text.trim()}`;

function Entry({ probe, line, readings }: { probe: Probing; line: ChartLine; readings: Readings }) {
  const field = useRef<HTMLInputElement>(null);
  const text = readings.text(line.at);
  const typed = readNumber(text);
  const take = () => typed.kind === "number" && probe.take(typed.value);
  const type = (next: string) => readings.type(line.at, next);
  // One field for all places: the focus is never between two of them.
  useLayoutEffect(() => {
    field.current?.focus({ preventScroll: true });
    field.current?.select();
  }, [line.at]);
  useKeys("Probe point", [
    { key: "n", does: "skip it", run: probe.skip },
    { key: "b", does: "back to the place before", run: probe.back },
  ]);
  // Neither letter is part of a number: they answer in the field too.
  const press = (event: KeyboardEvent) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "n") probe.skip();
    else if (event.key === "b") probe.back();
    else if (event.key === "Escape") field.current?.blur();
    else return;
    event.preventDefault();
  };
  return (
    <div class="probe-entry" onKeyDown={press}>
      <NumberField
        big
        label={`Read at ${line.at}`}
        unit="V"
        text={text}
        inputRef={field}
        onInput={type}
        onNumber={(value) => probe.take(value)}
        hint="Enter takes it, n skips, b goes back"
      />
      <div class="probe-buttons">
        <Button kind="main" disabled={typed.kind !== "number"} onClick={take}>
          Take
        </Button>
        <Button label="Change the sign" onClick={() => type(flipped(text))}>
          {"+/\u2212"}
        </Button>
        <Button onClick={probe.skip}>Skip</Button>
        <Button disabled={!probe.hasPast} onClick={probe.back}>
          Back
        </Button>
      </div>
    </div>
  );
}

function LastTaken({ probe, chart }: { probe: Probing; chart: Chart }) {
  const line = probe.last ? lineAt(chart, probe.last) : null;
  const read = line?.read ?? null;
  return (
    <p class="probe-last" role="status">
      {probe.waits ? (
        <span class="dim">Working out where to read next</span>
      ) : (
        line &&
        read !== null && (
          <>
            {line.at} read {volts(read)} V <VerdictMark verdict={line.verdict} />
          </>
        )
      )}
    </p>
  );
}

/* ---- keeping alive ------------------------------------------------------------------------------------- */

const DIFFERENCE =
  "Neither lead is on the chassis. Unplug, drain, measure; clip both leads on; take your hands away; then switch on and read.";
const GROUND = "Black lead clipped to the chassis. One hand; the other in your pocket.";
const ON_MAINS =
  "Isolation transformer first. Unplugged, clip the black lead to the common negative, not to the chassis. Then plug in; one hand.";

const grounded = (part: Part | undefined): boolean =>
  leadsOf(part).some((node) => node.toLowerCase() === "ground");

function Caution({ line, view, parts }: { line: ChartLine; view: View; parts: Part[] }) {
  const part = parts.find(({ name }) => name === line.at);
  const between = line.at.includes("-") || (part !== undefined && !grounded(part));
  return (
    <p class="probe-caution">
      <Mark shape="bolt" />
      <span>
        {view.amp.transformerless && between && "Isolation transformer first. "}
        {between ? DIFFERENCE : view.amp.transformerless ? ON_MAINS : GROUND}
      </span>
    </p>
  );
}
