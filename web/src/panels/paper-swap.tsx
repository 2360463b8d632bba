// A change tried on paper: before beside after, which limits are then passed and which are mended.
import type { Swapped, Moved, SwapTube, Margin } from "../types";
import { useComputed } from "../store";
import { Button, Field } from "../ui/controls";
import { From, Section, Table } from "../ui/frame";
import { Badge } from "../ui/marks";
import { arrow, hertz, volts } from "../units";
import { Value } from "./paper-value";
import { marginWords } from "./paper-words";
import { Keep, Share, useTried, type PaperProps } from "./paper";

const HINT = "R12=1k; C8=22u,500V; V1=12AY7; V3=silicon; S2=open; P5=position:3; mains=110";

export function Swap({ view, as }: PaperProps) {
  const tried = useTried(view.job);
  const { changes, typed } = tried.value;
  const found = useComputed<Swapped>(
    `/api/jobs/${view.job}/swap?as=${as}`,
    changes.length ? { changes } : null,
    view.last,
  );
  const add = () => {
    const more = typed.split(/[\s;]+/).filter(Boolean);
    const parts = more.map((one) => one.split("=")[0]);
    tried.set({
      changes: [...changes.filter((one) => !parts.includes(one.split("=")[0]!)), ...more],
      typed: "",
    });
  };
  return (
    <>
      <div class="paper-typed">
        <Field
          label="Try a change on paper"
          value={typed}
          onInput={(text) => tried.set({ typed: text })}
          onEnter={add}
          hint={HINT}
        />
        <Button kind="main" disabled={!typed.trim()} onClick={add}>
          Try it
        </Button>
      </div>
      <ul class="tried" aria-label="Being tried">
        {changes.map((change) => (
          <li key={change}>
            <Button
              label={`Leave out ${change}`}
              onClick={() => tried.set({ changes: changes.filter((one) => one !== change) })}
            >
              {change} {"\u00d7"}
            </Button>
          </li>
        ))}
      </ul>
      {changes.length ? (
        <From of={found} lines={8}>
          {(data) => (
            <div aria-busy={found.busy}>
              <Limits data={data} />
              <Tubes data={data} />
              <Nodes data={data} />
              <Tremolo data={data} />
              <Keep
                view={view}
                what={data.changes
                  .map(({ part, key, from, to }) => `${part} ${key} ${from} to ${to}`)
                  .join("; ")}
                lines={linesOf(data)}
              >
                Computed on {volts(data.mains_after_v)} V. Nothing in the amp is changed by it.
              </Keep>
            </div>
          )}
        </From>
      ) : (
        <p class="empty">Nothing is being tried. Any part, as many changes as you like.</p>
      )}
      <Value view={view} as={as} />
    </>
  );
}

/** What the report says of it. */
function linesOf({ broken, mended, tubes }: Swapped): string[] {
  const moved = tubes
    .filter(tubeMoved)
    .map(
      ({ tube, unit, before, after }) =>
        `${[tube, unit].filter(Boolean).join(" ")}: ${arrow(before.plate_v, after.plate_v, "V")} plate, ${arrow(before.plate_ma, after.plate_ma, "mA")}, ${arrow(before.plate_percent, after.plate_percent, "%")} of its rating`,
    );
  return [
    ...broken.map(({ after }) => `then over: ${after ? marginWords(after) : ""}`),
    ...mended.map(({ before }) => `mended: ${before ? marginWords(before) : ""}`),
    ...moved,
  ].slice(0, 12);
}

function Limits({ data: { broken, mended } }: { data: Swapped }) {
  const words = (moved: Moved, which: keyof Moved): string =>
    moved[which] ? marginWords(moved[which] as Margin) : "";
  return (
    <div class="paper-limits" role="status">
      {broken.map((one) => (
        <p key={words(one, "after")}>
          <Badge shape="hazard" tone="hazard">
            <strong>Then over:</strong> {words(one, "after")}
          </Badge>
          {one.after?.remedy && <span class="dim"> {one.after.remedy}</span>}
        </p>
      ))}
      {mended.map((one) => (
        <p key={words(one, "before")}>
          <Badge shape="tick" tone="accent">
            <strong>Mended:</strong> {words(one, "before")}
          </Badge>
        </p>
      ))}
      {!broken.length && !mended.length && (
        <p>
          <Badge shape="dash">No limit is passed or mended by it</Badge>
        </p>
      )}
    </div>
  );
}

const LEAST = 0.01; // of a figure: less is not worth a line

const apart = (a: number | null, b: number | null): boolean =>
  Math.abs((a ?? 0) - (b ?? 0)) > LEAST * Math.max(Math.abs(a ?? 0), Math.abs(b ?? 0), 1e-6);

const tubeMoved = ({ before, after }: SwapTube): boolean =>
  before.type !== after.type ||
  apart(before.plate_v, after.plate_v) ||
  apart(before.plate_ma, after.plate_ma);

function Percent({ before, after }: Pick<SwapTube, "before" | "after">) {
  if (before.plate_percent === null && after.plate_percent === null) return <>{"\u2013"}</>;
  return <Share percents={[before.plate_percent, after.plate_percent]} />;
}

function Tubes({ data }: { data: Swapped }) {
  return (
    <Section title="Tubes at idle, before and after">
      <Table
        caption="Each tube before beside after"
        rows={data.tubes.filter(tubeMoved)}
        rowKey={({ tube, unit }) => `${tube} ${unit}`}
        empty="No tube moves by one part in a hundred."
        columns={[
          {
            title: "Tube",
            cell: ({ tube, unit, before, after }) => (
              <>
                <strong>{tube}</strong>{" "}
                <span class="dim">
                  {before.type === after.type ? after.type : `${before.type} \u2192 ${after.type}`}{" "}
                  {unit}
                </span>
              </>
            ),
          },
          {
            title: "Plate",
            kind: "number",
            cell: ({ before, after }) => arrow(before.plate_v, after.plate_v, "V"),
          },
          {
            title: "Cathode",
            kind: "number",
            cell: ({ before, after }) => arrow(before.cathode_v, after.cathode_v, "V"),
          },
          {
            title: "Draws",
            kind: "number",
            cell: ({ before, after }) => arrow(before.plate_ma, after.plate_ma, "mA"),
          },
          {
            title: "Burns",
            kind: "number",
            cell: ({ before, after }) => arrow(before.plate_w, after.plate_w, "W"),
          },
          { title: "Of its rating", cell: (row) => <Percent {...row} /> },
        ]}
      />
    </Section>
  );
}

function Nodes({ data }: { data: Swapped }) {
  return (
    <Section title="Supply">
      <Table
        caption="Supply nodes, before and after"
        rows={data.nodes}
        rowKey={({ node }) => node}
        empty="No supply node."
        columns={[
          { title: "Node", cell: ({ node }) => <strong>{node}</strong> },
          { title: "Before", kind: "number", cell: ({ before }) => `${volts(before)} V` },
          { title: "After", kind: "number", cell: ({ after }) => `${volts(after)} V` },
        ]}
      />
    </Section>
  );
}

function Tremolo({ data: { tremolo } }: { data: Swapped }) {
  if (!tremolo) return null;
  const words = ({ starts, hertz: speed }: { starts: boolean; hertz: number }): string =>
    starts ? `${hertz(speed)}` : "does not start";
  const { before, after } = tremolo;
  const depth = before.reach && after.reach ? after.reach / before.reach : null;
  return (
    <Section title="Tremolo">
      <p>
        {words(before)} {"\u2192"} {words(after)}
        {depth !== null && `; its depth becomes ${Math.round(depth * 100)} % of what it was`}
      </p>
    </Section>
  );
}
