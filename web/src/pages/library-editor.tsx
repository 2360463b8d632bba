// A text editor with line numbers; what is wrong stands at its line, as one types.
import { useEffect, useRef, useState } from "preact/hooks";
import { request } from "../api";
import type { Checked, Fault } from "../types";
import { Badge, Mark } from "../ui/marks";
import { sentence } from "../units";

const SETTLE_MS = 250; // typing pause before the program is asked
const NOTHING: Checked = { errors: [], warnings: [] };

/** What the program says of the text; the last answer stays until a newer one is there. */
export function useCheck(text: string): { checked: Checked; busy: boolean; lost: Fault[] | null } {
  const [checked, setChecked] = useState<Checked>(NOTHING);
  const [busy, setBusy] = useState(true);
  const [lost, setLost] = useState<Fault[] | null>(null);
  useEffect(() => {
    let current = true;
    setBusy(true);
    const ask = async () => {
      try {
        const found = await request<Checked>("/api/check", { method: "POST", body: { text } });
        if (current) setChecked(found);
        if (current) setLost(null);
      } catch (error) {
        if (current) setLost((error as { faults: Fault[] }).faults);
      }
      if (current) setBusy(false);
    };
    const later = setTimeout(() => void ask(), SETTLE_MS);
    return () => {
      current = false;
      clearTimeout(later);
    };
  }, [text]);
  return { checked, busy, lost };
}

/* ---- where an offset lies -------------------------------------------------------------------------- */

function offsetOf(text: string, line: number, column: number): number {
  let at = 0;
  for (let n = 1; n < line; n++) {
    const end = text.indexOf("\n", at);
    if (end < 0) return text.length;
    at = end + 1;
  }
  const end = text.indexOf("\n", at);
  return Math.min(at + Math.max(0, column - 1), end < 0 ? text.length : end);
}

interface Props {
  label: string;
  text: string;
  onInput: (text: string) => void;
  readOnly: boolean;
  checked: Checked;
  busy: boolean;
}

export function Editor({ label, text, onInput, readOnly, checked, busy }: Props) {
  const field = useRef<HTMLTextAreaElement>(null);
  const lines = text.split("\n");
  const longest = lines.reduce((most, line) => Math.max(most, line.length), 0);
  const go = (fault: Fault) => {
    const at = offsetOf(text, fault.line ?? 1, fault.column ?? 1);
    field.current?.focus();
    field.current?.setSelectionRange(at, at);
    field.current?.parentElement
      ?.querySelector(`[data-line="${fault.line ?? 1}"]`)
      ?.scrollIntoView({ block: "center" });
  };
  return (
    <>
      <div class="editor">
        <Gutter count={lines.length} checked={checked} />
        <div class="editor-body" style={{ minWidth: `${longest + 4}ch` }}>
          <AtLines lines={lines} checked={checked} />
          <textarea
            ref={field}
            value={text}
            aria-label={label}
            rows={lines.length}
            wrap="off"
            spellcheck={false}
            autocomplete="off"
            readOnly={readOnly}
            onInput={(event) => onInput(event.currentTarget.value)}
          />
        </div>
      </div>
      <Faults checked={checked} busy={busy} onGo={go} />
    </>
  );
}

const onLines = (faults: Fault[]): Fault[] => faults.filter(({ line }) => line);

function Gutter({ count, checked }: { count: number; checked: Checked }) {
  const wrong = new Set(checked.errors.map(({ line }) => line));
  const odd = new Set(checked.warnings.map(({ line }) => line));
  return (
    <ol class="editor-gutter" aria-hidden="true">
      {Array.from({ length: count }, (_, at) => (
        <li key={at} class={wrong.has(at + 1) ? "wrong" : odd.has(at + 1) ? "odd" : undefined}>
          {wrong.has(at + 1) && <Mark shape="hazard" />}
          {odd.has(at + 1) && !wrong.has(at + 1) && <Mark shape="question" />}
          {at + 1}
        </li>
      ))}
    </ol>
  );
}

/** The words at the end of their lines; the list below has them for all who do not see these. */
function AtLines({ lines, checked }: { lines: string[]; checked: Checked }) {
  const first = new Map<number, { fault: Fault; wrong: boolean }>();
  for (const fault of onLines(checked.warnings)) first.set(fault.line!, { fault, wrong: false });
  for (const fault of [...onLines(checked.errors)].reverse())
    first.set(fault.line!, { fault, wrong: true });
  return (
    <div class="editor-notes" aria-hidden="true">
      {[...first].map(([line, { fault, wrong }]) => (
        <div
          key={line}
          data-line={line}
          class={wrong ? "wrong" : "odd"}
          style={{ top: `calc(${line - 1} * var(--line))` }}
        >
          <span style={{ marginLeft: `${(lines[line - 1]?.length ?? 0) + 3}ch` }}>
            {fault.cause}
          </span>
        </div>
      ))}
    </div>
  );
}

interface FaultsProps {
  checked: Checked;
  busy: boolean;
  onGo: (fault: Fault) => void;
}

function Faults({ checked: { errors, warnings }, busy, onGo }: FaultsProps) {
  const words = errors.length
    ? `${errors.length} ${errors.length === 1 ? "thing" : "things"} to correct`
    : warnings.length
      ? `In order; ${warnings.length} to look at`
      : "In order";
  return (
    <div class="editor-faults">
      <p role="status" aria-busy={busy}>
        <Badge shape={errors.length ? "hazard" : "tick"} tone={errors.length ? "hazard" : "accent"}>
          {words}
        </Badge>
      </p>
      <ul>
        {[...errors, ...warnings].map((fault, at) => (
          <li key={at}>
            <button type="button" class="fault-line" onClick={() => onGo(fault)}>
              <span class="fault-at">{fault.line ? `line ${fault.line}` : "file"}</span>
              <span>
                {sentence(fault.cause)}{" "}
                <span class="dim">{fault.remedy && sentence(fault.remedy)}</span>
              </span>
            </button>
          </li>
        ))}
      </ul>
    </div>
  );
}
