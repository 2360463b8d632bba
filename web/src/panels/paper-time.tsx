// In time: from the switch to rest and off again; the peak on each capacitor, the rectifier, the fuse.
import { useMemo } from "preact/hooks";
import type { Drawing, Line } from "../plot/lines";
import { useDraft, useResource } from "../store";
import type { Powerup, PowerPlot } from "../types";
import { Choice } from "../ui/controls";
import { From, Section, Table } from "../ui/frame";
import { Badge } from "../ui/marks";
import { Plot } from "../ui/plot";
import { quantity, seconds, volts } from "../units";
import { Keep, Share, type PaperProps } from "./paper";
import { plain } from "./paper-words";

const PLOTS = [
  { value: "start", words: "First 0.2 s" },
  { value: "whole", words: "On, rest, off" },
  { value: "rest", words: "Two cycles at rest" },
] as const;
type Which = (typeof PLOTS)[number]["value"];

export function InTime({ view, as }: PaperProps) {
  const draft = useDraft<{ plot: Which; node: string; standby: "no" | "yes" }>("in time", {
    plot: "whole",
    node: "",
    standby: "no",
  });
  const { plot, node, standby } = draft.value;
  const found = useResource<Powerup>(`/api/jobs/${view.job}/powerup?as=${as}&standby=${standby}`);
  return (
    <From of={found} lines={10}>
      {(data) => {
        const nodes = data[plot].lines.filter(({ unit }) => unit === "V").map(({ name }) => name);
        const shown = nodes.includes(node) ? node : (nodes[0] ?? "");
        return (
          <>
            <div class="row in-time">
              <Choice
                label="When"
                value={plot}
                onChoose={(next) => draft.set({ plot: next })}
                options={PLOTS}
              />
              <Choice
                label="Where"
                value={shown}
                onChoose={(next) => draft.set({ node: next })}
                options={nodes}
              />
              <Choice
                label="Half a minute on standby first"
                value={standby}
                onChoose={(next) => draft.set({ standby: next })}
                options={["no", "yes"]}
              />
            </div>
            <Over data={data} plot={data[plot]} which={plot} node={shown} />
            <Remarks data={data} />
            <Peaks data={data} />
            <Keep
              view={view}
              what={`Power-up, ${as === "found" ? "as found" : "as repaired"}`}
              lines={
                data.remarks.length
                  ? data.remarks.map(plain).slice(0, 12)
                  : ["No part is over its rating from switch-on to rest."]
              }
            >
              Computed on {volts(data.mains_v)} V.
            </Keep>
          </>
        );
      }}
    </From>
  );
}

const AMPERES = ["edge", "hazard"] as const;

function drawingOf(data: Powerup, plot: PowerPlot, which: Which, node: string): Drawing {
  const from = which === "rest" ? plot.seconds[0]! : 0;
  const whole = which === "whole";
  const lines: Line[] = plot.lines
    .filter(({ name }) => name === node)
    .flatMap(({ name, low, high }) => [
      { name, values: low, ink: "accent" },
      { name: "", values: high, ink: "accent", between: true },
    ]);
  const currents = plot.lines
    .filter(({ unit }) => unit === "A")
    .map<Line>(({ name, high }, at) => ({
      name: `${name}, A`,
      values: high,
      ink: AMPERES[at] ?? "dim",
      dash: at > 0,
      right: true,
    }));
  return {
    x: {
      label: whole ? "Seconds" : "Milliseconds",
      values: plot.seconds.map((s) => (s - from) * (whole ? 1 : 1000)),
    },
    left: { label: `${node}, V` },
    ...(currents.length ? { right: { label: "A" } } : {}),
    lines: [...lines, ...currents],
    marks: whole ? [{ x: data.on_s, words: "switched off" }] : [],
  };
}

interface OverProps {
  data: Powerup;
  plot: PowerPlot;
  which: Which;
  node: string;
}

function Over({ data, plot, which, node }: OverProps) {
  const drawing = useMemo(() => drawingOf(data, plot, which, node), [data, which, node]);
  return (
    <Plot
      drawing={drawing}
      height={320}
      label={`Volts at ${node} over time. The peaks stand in the table.`}
    />
  );
}

function Remarks({ data: { remarks, missing } }: { data: Powerup }) {
  return (
    <div class="paper-limits">
      {remarks.map((one) => (
        <p key={one}>
          <Badge shape="hazard" tone="hazard">
            {plain(one)}
          </Badge>
        </p>
      ))}
      {!remarks.length && <Badge shape="dot">Nothing is past a limit on the way</Badge>}
      {missing && <p class="dim">{plain(missing)}</p>}
    </div>
  );
}

function Peaks({ data }: { data: Powerup }) {
  return (
    <>
      <Section title="Filter capacitors">
        <Table
          caption="What each filter capacitor meets"
          rows={data.capacitors.filter(({ filter }) => filter)}
          rowKey={({ part }) => part}
          empty="No filter capacitor."
          columns={[
            {
              title: "Part",
              cell: ({ part, node }) => (
                <>
                  <strong>{part}</strong> <span class="dim">{node}</span>
                </>
              ),
            },
            {
              title: "Peak",
              kind: "number",
              cell: ({ peak_v, peak_s }) => `${volts(peak_v)} V at ${quantity(peak_s, "s")}`,
            },
            { title: "Of its rating", cell: ({ percent }) => <Share percents={[percent]} /> },
            { title: "Works at", kind: "number", cell: (one) => `${volts(one.working_v)} V` },
            { title: "Ripple", kind: "number", cell: (one) => quantity(one.ripple_v, "V") },
            {
              title: "Off, to 60 V",
              kind: "number",
              cell: ({ off_60_s, off_kept, off_v }) =>
                off_kept ? `still ${volts(off_v)} V` : seconds(off_60_s),
            },
          ]}
        />
      </Section>
      <Section title="Rectifier and fuse">
        <ul class="upsets">
          {data.rectifiers.map((one) => (
            <li key={one.name}>
              <strong>{one.name}</strong>
              <span class="dim">{one.type ?? "solid"}</span>
              <span>
                peaks of {quantity(one.working_peak_a, "A")} at rest, {quantity(one.again_a, "A")}{" "}
                when it is switched on again warm; {quantity(one.peak_limit_a, "A")} is the limit
              </span>
            </li>
          ))}
          {data.fuses.map((one) => (
            <li key={one.name}>
              <strong>{one.name}</strong>
              <span class="dim">{one.where}</span>
              <span>
                carries {quantity(one.running_a, "A")}; {quantity(one.peak_a, "A")} in the first
                cycle, {Number(one.tenth_a2s.toPrecision(2))} {"A\u00b2s"} in a tenth of a second
              </span>
            </li>
          ))}
        </ul>
      </Section>
    </>
  );
}
