// How far each part is from its rating, the most trouble first.
import { useDraft, useResource } from "../store";
import type { Margin, MarginList } from "../types";
import { Choice } from "../ui/controls";
import { From, Table } from "../ui/frame";
import { Badge, type Shape, type Tone } from "../ui/marks";
import { quantity, volts } from "../units";
import { Keep, Share, type PaperProps } from "./paper";
import { marginWords, plain } from "./paper-words";

type Shown = "trouble" | "all";

const STATES: Record<Margin["state"], { shape: Shape; tone: Tone }> = {
  over: { shape: "hazard", tone: "hazard" },
  close: { shape: "up", tone: "plain" },
  "no rating given": { shape: "question", tone: "plain" },
  well: { shape: "dot", tone: "accent" },
};

export function Margins({ view, as }: PaperProps) {
  const found = useResource<MarginList>(`/api/jobs/${view.job}/margins?as=${as}`);
  const draft = useDraft<{ shown: Shown }>("margins", { shown: "trouble" });
  return (
    <From of={found} lines={10}>
      {({ margins, mains_v }) => {
        const over = margins.filter(({ state }) => state === "over");
        const trouble = margins.filter(({ state }) => state === "over" || state === "close");
        const rows = draft.value.shown === "all" ? margins : trouble;
        return (
          <>
            <Choice
              label="Show"
              hideLabel
              value={draft.value.shown}
              onChoose={(shown) => draft.set({ shown })}
              options={[
                { value: "trouble", words: `Over or close ${trouble.length}` },
                { value: "all", words: `All ${margins.length}` },
              ]}
            />
            <List rows={rows} />
            <Keep
              view={view}
              what={as === "found" ? "Ratings, as found" : "Ratings, as repaired"}
              lines={
                over.length ? over.slice(0, 12).map(marginWords) : ["No part is over its rating."]
              }
            >
              Computed, healthy, on {volts(mains_v)} V.
            </Keep>
          </>
        );
      }}
    </From>
  );
}

function List({ rows }: { rows: Margin[] }) {
  return (
    <Table
      caption="Parts beside their ratings, the most trouble first"
      rows={rows}
      rowKey={({ part, unit, what }) => `${part} ${unit} ${what}`}
      empty="Nothing is over its rating, or close to it."
      columns={[
        {
          title: "State",
          cell: ({ state }) => <Badge {...STATES[state]}>{state}</Badge>,
        },
        {
          title: "Part",
          cell: ({ part, of, unit }) => (
            <>
              <strong>{part}</strong>{" "}
              <span class="dim">{[of, unit].filter(Boolean).join(", ")}</span>
            </>
          ),
        },
        { title: "What", cell: ({ what }) => what },
        {
          title: "Is",
          kind: "number",
          cell: ({ is, in: unit }) => quantity(is, unit),
        },
        {
          title: "Limit",
          kind: "number",
          cell: ({ limit, in: unit, at_least }) =>
            limit === null ? "\u2013" : `${at_least ? "\u2265 " : ""}${quantity(limit, unit)}`,
        },
        {
          title: "Of the limit",
          cell: ({ percent }) => (percent === null ? null : <Share percents={[percent]} />),
        },
        { title: "What to do", kind: "wide", cell: ({ remedy }) => remedy && plain(remedy) },
      ]}
    />
  );
}
