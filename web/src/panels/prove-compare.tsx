// Before beside after, and what the tubes burn, by which rating.
import type { Compare, ComparePlace, CompareTube } from "../types";
import { Table } from "../ui/frame";
import { Badge, Bar } from "../ui/marks";
import { sentence, volts } from "../units";

export const outside = ({ verdict }: ComparePlace): boolean =>
  verdict === "low" || verdict === "high";

function Outcome({ place }: { place: ComparePlace }) {
  const words = sentence(place.words).replace(/\.$/, "");
  if (outside(place))
    return (
      <Badge shape={place.verdict === "low" ? "down" : "up"} tone="hazard">
        {words}
      </Badge>
    );
  return place.verdict === "inside" ? (
    <Badge shape="dot" tone="accent">
      {words}
    </Badge>
  ) : (
    <span class="dim">{words}</span>
  );
}

export function BeforeAfter({ data }: { data: Compare }) {
  return (
    <Table
      caption="Before beside after, volts"
      rows={data.places}
      rowKey={({ at }) => at}
      empty="Nothing was read yet, before or after."
      columns={[
        { title: "Place", cell: ({ at }) => <strong>{at}</strong> },
        { title: "What", cell: ({ what }) => what ?? "" },
        { title: "Before", kind: "number", cell: ({ before }) => volts(before) },
        {
          title: "After",
          kind: "number",
          cell: ({ after }) => <strong>{volts(after)}</strong>,
        },
        {
          title: "A good amp",
          kind: "number",
          cell: ({ expected_after, expected_before }) => volts(expected_after ?? expected_before),
        },
        { title: "Outcome", kind: "wide", cell: (place) => <Outcome place={place} /> },
      ]}
    />
  );
}

/* ---- bias and dissipation --------------------------------------------------------------------------------- */

const FULL = 100; // % of the rating

export const over = ({ percent_after }: CompareTube): boolean => (percent_after ?? 0) > FULL;

const watts = (value: number | null): string =>
  value === null ? "\u2013" : `${value.toFixed(value >= 9.95 ? 1 : 2)} W`;

const rating = ({ rating_w, system }: CompareTube): string =>
  rating_w === null ? "none published" : `${watts(rating_w)} ${system ?? ""}`;

function Share({ tube }: { tube: CompareTube }) {
  if (tube.percent_after === null) return <span class="dim">too little was read</span>;
  return (
    <Bar share={tube.percent_after / FULL} tone={over(tube) ? "hazard" : "accent"}>
      {Math.round(tube.percent_after)} %{over(tube) ? " over" : ""}
    </Bar>
  );
}

export function Bias({ data }: { data: Compare }) {
  return (
    <>
      <p class="dim prove-note">
        Watts on the plate, by the readings; a dash where too little was read. A rating means
        nothing without its system.
      </p>
      <Table
        caption="Dissipation on the plates"
        rows={data.tubes}
        rowKey={({ tube, unit }) => `${tube} ${unit}`}
        empty="The chart has no tube."
        columns={[
          {
            title: "Tube",
            cell: ({ tube, type, unit }) => (
              <>
                <strong>{tube}</strong> {[type, unit].filter(Boolean).join(", ")}
              </>
            ),
          },
          { title: "Before", kind: "number", cell: (tube) => watts(tube.watts_before) },
          {
            title: "After",
            kind: "number",
            cell: (tube) => <strong>{watts(tube.watts_after)}</strong>,
          },
          { title: "A good amp", kind: "number", cell: (tube) => watts(tube.watts_expected) },
          { title: "Rating", cell: rating },
          { title: "Of the rating", kind: "wide", cell: (tube) => <Share tube={tube} /> },
        ]}
      />
    </>
  );
}
