// The voltage chart to type into, by tube: what a good amp shows, what was read, and the verdict.
import type { ComponentChildren } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { link } from "../api";
import { useKeys } from "../keys";
import type { Chart, ChartLine, Part } from "../types";
import { Button } from "../ui/controls";
import { Badge } from "../ui/marks";
import { readNumber, volts } from "../units";
import { BandScale } from "./measure-scale";
import {
  band,
  grouped,
  placeNamed,
  whatWords,
  type Group,
  type Readings,
} from "./measure-readings";

interface Props {
  chart: Chart;
  parts: Part[];
  readings: Readings;
  onColumn: (text: string, from: string) => void; // a pasted column, and where it was pasted
}

/** Moves the focus among the reading fields, in the chart's own order. */
function useFields() {
  const box = useRef<HTMLDivElement>(null);
  const fields = () => [...(box.current?.querySelectorAll<HTMLInputElement>(".read-field") ?? [])];
  const to = (field: HTMLInputElement | undefined) => {
    field?.focus();
    field?.select();
    field?.closest(".chart-row")?.scrollIntoView({ block: "nearest" });
  };
  return {
    box,
    move: (from: HTMLInputElement, by: number) => {
      const all = fields();
      to(all[all.indexOf(from) + by]);
    },
    goTo: (at: string) => to(fields().find(({ dataset }) => dataset.at === at)),
    // The first place without a reading takes the focus, unless something else has it.
    begin: () => {
      const idle = !document.activeElement?.matches("input, textarea, button, a");
      if (idle)
        fields()
          .find(({ value }) => !value)
          ?.focus({ preventScroll: true });
    },
  };
}

export function ReadingChart({ chart, parts, readings, onColumn }: Props) {
  const fields = useFields();
  const [jump, setJump] = useState("");
  const jumpField = useRef<HTMLInputElement>(null);
  useEffect(fields.begin, []);
  const startJump = (letter: string) => {
    setJump(letter);
    jumpField.current?.focus();
  };
  useKeys("Chart", [
    { key: "g", does: "go to a place by its letters: v25 is V2.5", run: () => startJump("") },
    ...["v", "b", "r"].map((letter) => ({
      key: letter,
      does: `go to a place that begins with ${letter.toUpperCase()}`,
      run: () => startJump(letter),
    })),
  ]);
  const does = (name: string): string => {
    const tube = parts.find((part) => part.name === name);
    return [tube?.value, tube?.what].filter(Boolean).join(", ");
  };
  return (
    <div class="chart" ref={fields.box}>
      <Jump
        lines={chart.lines}
        text={jump}
        onText={setJump}
        field={jumpField}
        onGo={(at) => {
          setJump("");
          fields.goTo(at);
        }}
        onPaste={() => onColumn("", "")}
      />
      {grouped(chart.lines).map((group) => (
        <ChartGroup key={group.name} group={group} does={does(group.name)}>
          {(line) => (
            <Row
              key={line.at}
              line={line}
              readings={readings}
              onMove={fields.move}
              onJump={startJump}
              onColumn={onColumn}
            />
          )}
        </ChartGroup>
      ))}
    </div>
  );
}

/* ---- letters that lead to a place ---------------------------------------------------------------- */

interface JumpProps {
  lines: ChartLine[];
  text: string;
  onText: (text: string) => void;
  onGo: (at: string) => void;
  onPaste: () => void;
  field: { current: HTMLInputElement | null };
}

function Jump({ lines, text, onText, onGo, onPaste, field }: JumpProps) {
  const found = placeNamed(lines, text);
  const press = (event: KeyboardEvent) => {
    if (event.key === "Escape") onText("");
    if (event.key !== "Enter" || !found) return;
    event.preventDefault();
    onGo(found.at);
  };
  return (
    <div class="jump">
      <label>
        <span>Go to</span>
        <input
          ref={field}
          value={text}
          autocomplete="off"
          spellcheck={false}
          placeholder="v25"
          onInput={(event) => onText(event.currentTarget.value)}
          onKeyDown={press}
        />
      </label>
      <span class="jump-found" role="status">
        {text && (found ? `${found.at}, ${whatWords(found)}: Enter` : "no such place on the chart")}
      </span>
      <Button kind="quiet" onClick={onPaste}>
        Paste a column
      </Button>
    </div>
  );
}

/* ---- a tube's places ------------------------------------------------------------------------------- */

interface GroupProps {
  group: Group;
  does: string; // "12AX7, both preamp stages"
  children: (line: ChartLine) => ComponentChildren;
}

const COLUMNS = ["place", "band", "scale", "read", "verdict"];

function ChartGroup({ group, does, children }: GroupProps) {
  return (
    <table class="chart-group">
      <caption>
        <span class="chart-tube">{group.name}</span> {does}
      </caption>
      <colgroup>
        {COLUMNS.map((name) => (
          <col key={name} class={`col-${name}`} />
        ))}
      </colgroup>
      <thead class="unseen">
        <tr>
          <th scope="col">Place</th>
          <th scope="col">Good amps, volts</th>
          <th scope="col">Where the reading lies</th>
          <th scope="col">Read, volts</th>
          <th scope="col">Verdict</th>
        </tr>
      </thead>
      <tbody>{group.lines.map((line) => children(line))}</tbody>
    </table>
  );
}

interface RowProps {
  line: ChartLine;
  readings: Readings;
  onMove: (from: HTMLInputElement, by: number) => void;
  onJump: (letter: string) => void;
  onColumn: (text: string, from: string) => void;
}

function Row(props: RowProps) {
  const { line, readings } = props;
  return (
    <tr class="chart-row">
      <th scope="row">
        <span class="chart-at">{line.at}</span> <span class="chart-what">{whatWords(line)}</span>
      </th>
      <td class="chart-band">
        {band(line)}
        {line.printed !== null && <span class="chart-printed">printed {volts(line.printed)}</span>}
      </td>
      <td class="chart-scale">
        <BandScale line={line} />
      </td>
      <td class="chart-read">
        <ReadField {...props} />
      </td>
      <td class="chart-verdict" id={`verdict ${line.at}`}>
        <Verdict line={line} readings={readings} />
      </td>
    </tr>
  );
}

/** By shape and word: ▽ low, ● inside, △ high. */
export function VerdictMark({ verdict }: { verdict: ChartLine["verdict"] }) {
  if (verdict === "low")
    return (
      <Badge shape="down" tone="hazard">
        low
      </Badge>
    );
  if (verdict === "high")
    return (
      <Badge shape="up" tone="hazard">
        high
      </Badge>
    );
  return verdict === "inside" ? (
    <Badge shape="dot" tone="accent">
      inside
    </Badge>
  ) : null;
}

function Verdict({ line, readings }: { line: ChartLine; readings: Readings }) {
  const typed = readNumber(readings.text(line.at));
  if (readings.typed(line.at)) {
    if (typed.kind === "wrong") return <Badge shape="question">not a number</Badge>;
    return <span class="dim">{typed.kind === "empty" ? "Enter takes it back" : "Enter"}</span>;
  }
  if (readings.pending.has(line.at))
    return <span class="dim">{link.value.up ? "" : "kept here"}</span>;
  return <VerdictMark verdict={line.verdict} />;
}

/* ---- the field ------------------------------------------------------------------------------------- */

const isLetter = (key: string): boolean => /^[a-z]$/i.test(key);

function ReadField({ line, readings, onMove, onJump, onColumn }: RowProps) {
  const { at } = line;
  const text = readings.text(at);
  const typed = readNumber(text);

  function finish(field: HTMLInputElement): void {
    if (readings.typed(at)) {
      if (typed.kind === "number") readings.take(at, typed.value);
      else if (typed.kind === "empty") readings.drop(at);
      else return;
    }
    onMove(field, 1);
  }

  function press(event: KeyboardEvent): void {
    const field = event.currentTarget as HTMLInputElement;
    const whole = field.selectionStart === 0 && field.selectionEnd === field.value.length;
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Enter") finish(field);
    else if (event.key === "ArrowDown") onMove(field, 1);
    else if (event.key === "ArrowUp") onMove(field, -1);
    else if (event.key === "Escape")
      readings.typed(at) ? readings.type(at, undefined) : field.blur();
    else if (isLetter(event.key) && whole) onJump(event.key);
    else return;
    event.preventDefault();
  }

  return (
    <input
      class="read-field"
      data-at={at}
      value={text}
      aria-label={`${at} ${whatWords(line)}, volts read`}
      aria-describedby={`verdict ${at}`}
      aria-invalid={typed.kind === "wrong" ? true : undefined}
      // A keypad without a minus sign is of no use at a negative place.
      inputMode={(line.shown ?? 0) < 0 ? "text" : "decimal"}
      autocomplete="off"
      onFocus={(event) => event.currentTarget.select()}
      onInput={(event) => readings.type(at, event.currentTarget.value)}
      onKeyDown={press}
      onPaste={(event) => {
        const pasted = event.clipboardData?.getData("text") ?? "";
        if (!/[\r\n\t]/.test(pasted.trim())) return;
        event.preventDefault();
        onColumn(pasted, at);
      }}
    />
  );
}
