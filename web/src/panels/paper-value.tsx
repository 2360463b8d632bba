// The value that reaches a target, and the stock values on both sides of it.
import { useDraft, useResource } from "../store";
import type { Valued, ValuePoint } from "../types";
import { Button, Field } from "../ui/controls";
import { From, Section, Table } from "../ui/frame";
import { quantity, trade, volts } from "../units";
import { useTried, type PaperProps } from "./paper";

const NAMES = [
  ["now", "as it is"],
  ["below", "stock, below"],
  ["exact", "exactly"],
  ["above", "stock, above"],
] as const;

const UNITS: Record<string, string> = {
  plate_w: "W",
  screen_w: "W",
  plate_a: "A",
  volts: "V",
  swings_per_s: "Hz",
};

export function Value({ view, as }: PaperProps) {
  const draft = useDraft(`value ${view.job}`, { part: "", target: "", asked: "" });
  const { part, target, asked } = draft.value;
  const query = `part=${encodeURIComponent(part.trim())}&for=${encodeURIComponent(target.trim())}`;
  const found = useResource<Valued>(asked ? `/api/jobs/${view.job}/value?as=${as}&${asked}` : null);
  const ask = () => part.trim() && target.trim() && draft.set({ asked: query });
  return (
    <Section title="The value for a target">
      <div class="pair">
        <Field
          label="Part"
          value={part}
          onInput={(text) => draft.set({ part: text })}
          onEnter={ask}
          hint="R12"
        />
        <Field
          label="What it is to reach"
          value={target}
          onInput={(text) => draft.set({ target: text })}
          onEnter={ask}
          hint="V2 dissipation 85%; B2 volts 250; tremolo 4"
        />
      </div>
      <Button disabled={!part.trim() || !target.trim()} onClick={ask}>
        Find the value
      </Button>
      {asked && (
        <From of={found} lines={4}>
          {(data) => <Found view={view} data={data} />}
        </From>
      )}
    </Section>
  );
}

function Found({ view, data }: { view: PaperProps["view"]; data: Valued }) {
  const tried = useTried(view.job);
  const unit = UNITS[data.aim] ?? "";
  const rows = NAMES.flatMap(([key, words]) => {
    const point = data[key];
    return point ? [{ words, point }] : [];
  });
  const tryIt = ({ value }: ValuePoint) =>
    tried.set({
      changes: [
        ...tried.value.changes.filter((one) => !one.startsWith(`${data.part}=`)),
        `${data.part}=${trade(value)}`,
      ],
    });
  return (
    <>
      {data.limit && <p role="status">{data.limit}</p>}
      <Table
        caption={`Values of ${data.part}`}
        rows={rows}
        rowKey={({ words }) => words}
        empty=""
        columns={[
          { title: "", cell: ({ words }) => words },
          { title: data.part, kind: "number", cell: ({ point }) => trade(point.value) },
          {
            title: data.target,
            kind: "number",
            cell: ({ point: { reached, percent } }) =>
              `${quantity(reached, unit)}${percent === null ? "" : `, ${Math.round(percent)} %`}`,
          },
          {
            title: "Fit",
            kind: "number",
            cell: ({ point }) => (point.fit_w === null ? "" : `${volts(point.fit_w)} W`),
          },
          {
            title: "Limits",
            kind: "wide",
            cell: ({ point: { breaks, mends } }) =>
              [breaks && `then over: ${breaks}`, mends && `mends: ${mends}`]
                .filter(Boolean)
                .join("; "),
          },
          {
            title: "",
            cell: ({ point }) => (
              <Button
                kind="quiet"
                label={`Try it: ${trade(point.value)}`}
                onClick={() => tryIt(point)}
              >
                Try it
              </Button>
            ),
          },
        ]}
      />
    </>
  );
}
