// A pasted column of readings: looked at before it is recorded.
import { useEffect, useRef } from "preact/hooks";
import { useDraft } from "../store";
import type { ChartLine, View } from "../types";
import { Button, Field } from "../ui/controls";
import { Dialog, Table } from "../ui/frame";
import { Badge } from "../ui/marks";
import { readColumn, volts } from "../units";
import { placeNamed, type Readings } from "./measure-readings";

export interface Column {
  text: string;
  from: string; // the place where it was pasted: lines without a place go from here downwards
  open: boolean;
}

export const useColumn = (view: View) =>
  useDraft<Column>(`column ${view.job}`, { text: "", from: "", open: false });

interface Line {
  row: number;
  said: string; // the place as pasted, or ""
  line: ChartLine | undefined;
  value: number | null;
  problem: string | null;
  was: number | undefined;
}

function read(text: string, from: string, lines: ChartLine[], readings: Readings): Line[] {
  let next = Math.max(
    0,
    lines.findIndex(({ at }) => at === from),
  );
  const taken = new Set<string>();
  return readColumn(text).map(({ at, typed }, row) => {
    const line = at ? placeNamed(lines, at) : lines[next];
    if (line) next = lines.indexOf(line) + 1;
    const twice = line !== undefined && taken.has(line.at);
    if (line) taken.add(line.at);
    const problem = !line
      ? at
        ? "no such place on the chart"
        : "more numbers than places"
      : typed.kind !== "number"
        ? "not a number"
        : twice
          ? "this place again"
          : null;
    return {
      row,
      said: at ?? "",
      line,
      value: typed.kind === "number" ? typed.value : null,
      problem,
      was: line && readings.recorded.get(line.at)?.volts,
    };
  });
}

interface Props {
  view: View;
  lines: ChartLine[];
  readings: Readings;
}

export function PasteDialog({ view, lines, readings }: Props) {
  const draft = useColumn(view);
  const { text, from, open } = draft.value;
  const rows = open ? read(text, from, lines, readings) : [];
  const good = rows.filter(({ problem }) => !problem);
  const take = () => {
    for (const { line, value } of good) readings.take(line!.at, value!);
    draft.clear();
  };
  const box = useRef<HTMLDivElement>(null);
  useEffect(() => {
    if (open) box.current?.querySelector("textarea")?.focus();
  }, [open]);
  return (
    <Dialog title="A column of readings" open={open} onClose={() => draft.set({ open: false })}>
      <div ref={box}>
        <Field
          label="Paste it here: a place and its volts on each line, or volts alone in the chart's order"
          lines={4}
          value={text}
          onInput={(pasted) => draft.set({ text: pasted })}
          hint={from && !/[A-Za-z]/.test(text) ? `The first number goes to ${from}.` : "V1.1 182"}
        />
      </div>
      <div class="paste-preview">
        <Table
          caption="What will be recorded"
          rows={rows}
          rowKey={({ row }) => row}
          empty="Nothing pasted yet."
          columns={[
            { title: "Place", cell: ({ line, said }) => line?.at ?? (said || "\u2013") },
            { title: "What", cell: ({ line }) => line?.what ?? "" },
            { title: "Volts", kind: "number", cell: ({ value }) => volts(value) },
            { title: "Outcome", kind: "wide", cell: (row) => <Fate row={row} /> },
          ]}
        />
      </div>
      <div class="row">
        <Button kind="main" disabled={!good.length} onClick={take}>
          {good.length === 1 ? "Record 1 reading" : `Record ${good.length} readings`}
        </Button>
        <span class="dim">
          {good.length < rows.length && `${rows.length - good.length} left out`}
        </span>
      </div>
    </Dialog>
  );
}

function Fate({ row }: { row: Line }) {
  if (row.problem)
    return (
      <Badge shape="hazard" tone="hazard">
        left out: {row.problem}
      </Badge>
    );
  return row.was === undefined ? null : (
    <span class="dim">
      {row.was === row.value ? "as recorded" : `in place of ${volts(row.was)}`}
    </span>
  );
}
