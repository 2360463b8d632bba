// The work list at pin level: what the decisions ask for, ticked as it is done.
import { useState } from "preact/hooks";
import { record } from "../facts";
import { leadsOf } from "../parts";
import { takeBack, useDraft } from "../store";
import type { Decision, Part, View, Work } from "../types";
import { Button, Field, NumberField } from "../ui/controls";
import { Mark } from "../ui/marks";
import { readNumber } from "../units";
import { hours } from "./decide-estimate";
import { EditForm } from "./edit-form";
import type { Clock } from "./repair-clock";

/* ---- what the decisions ask for ------------------------------------------------------------------------ */

interface Proposal {
  part: string;
  text: string;
  pins: string;
}

const DOES: Record<string, (decision: Decision) => string> = {
  replace: ({ part, substitute }) => `Replace ${part}${substitute ? ` by ${substitute}` : ""}`,
  clean: ({ part }) => `Clean ${part}`,
  test: ({ part, what }) => `Test ${part}${what ? `: ${what}` : ""}`,
};

/** "V3.1 to V4.2"; a capacitor that has a + end says which. */
export function pinsOf(part: Part | undefined): string {
  const [first, ...rest] = part?.kind === "tube" ? [] : leadsOf(part);
  if (!first) return "";
  const plus = part?.material === "electrolytic" ? " (+)" : "";
  return [`${first}${plus}`, ...rest].join(" to ");
}

function proposals(view: View, parts: Part[]): Proposal[] {
  const listed = new Set(view.work.map(({ part }) => part));
  return view.decisions
    .filter(({ action, part }) => action !== "leave" && !listed.has(part))
    .map((decision) => ({
      part: decision.part,
      text: DOES[decision.action]!(decision),
      pins: pinsOf(parts.find(({ name }) => name === decision.part)),
    }));
}

function putOn(view: View, { part, text, pins }: Proposal): void {
  const body = { text, done: false, ...(part && { part }), ...(pins && { pins }) };
  void record(view.job, "work", body, { words: `on the list: ${text}` });
}

export function Proposals({ view, parts }: { view: View; parts: Part[] }) {
  const open = proposals(view, parts);
  if (!open.length) return null;
  return (
    <section class="proposed" aria-label="From the decisions, not on the list yet">
      <p class="dim">From the decisions, not on the list yet:</p>
      <ul>
        {open.map((one) => (
          <li key={one.part}>
            <span>
              {one.text} <span class="dim">{one.pins}</span>
            </span>
          </li>
        ))}
      </ul>
      <Button kind="main" onClick={() => open.forEach((one) => putOn(view, one))}>
        {open.length === 1 ? "Put it on the list" : `Put all ${open.length} on the list`}
      </Button>
    </section>
  );
}

/* ---- the list ------------------------------------------------------------------------------------------- */

interface ListProps {
  view: View;
  parts: Part[];
  clock: Clock;
}

export function WorkList({ view, parts, clock }: ListProps) {
  const [open, setOpen] = useState<string | null>(null);
  if (!view.work.length)
    return <p class="empty">Nothing on the list. The decisions bring lines, or type one below.</p>;
  // A changed line is a new fact: its place in the list stays that of its part and words.
  const keyOf = ({ part, text }: Work) => `${part ?? ""} ${text}`;
  return (
    <ol class="work">
      {view.work.map((work) => (
        <WorkLine
          key={work.fact}
          view={view}
          work={work}
          part={parts.find(({ name }) => name === work.part)}
          clock={clock}
          open={open === keyOf(work)}
          onOpen={() => setOpen(open === keyOf(work) ? null : keyOf(work))}
        />
      ))}
    </ol>
  );
}

interface LineProps {
  view: View;
  work: Work;
  part: Part | undefined;
  clock: Clock;
  open: boolean;
  onOpen: () => void;
}

const bodyOf = ({ text, part, pins, done, minutes }: Omit<Work, "fact">) => ({
  text,
  done,
  ...(part && { part }),
  ...(pins && { pins }),
  ...(minutes && { minutes }),
});

/** Ticks a line: the time since the last tick goes to it. */
function tick(view: View, work: Work, clock: Clock): void {
  const spent = work.done ? 0 : clock.minutes;
  const body = bodyOf({ ...work, done: !work.done, minutes: (work.minutes ?? 0) + spent });
  void record(view.job, "work", body, {
    words: `${work.done ? "not done yet" : "done"}: ${work.text}`,
    replaces: work.fact,
  });
  if (!work.done) clock.mark();
}

function WorkLine({ view, work, part, clock, open, onOpen }: LineProps) {
  return (
    <li class={work.done ? "done" : undefined}>
      <div class="work-line">
        <button
          type="button"
          class="tick-box"
          role="checkbox"
          aria-checked={work.done}
          aria-label={`Done: ${work.text}`}
          onClick={() => tick(view, work, clock)}
        >
          {work.done && <Mark shape="tick" />}
        </button>
        <span class="work-text">
          <span>{work.text}</span>
          <span class="work-pins">{work.pins}</span>
        </span>
        <span class="work-minutes">{work.minutes ? hours(work.minutes) : ""}</span>
        <Button kind="quiet" label={`${open ? "Close" : "Change"}: ${work.text}`} onClick={onOpen}>
          {open ? "Close" : "Change"}
        </Button>
      </div>
      {open && <WorkForm view={view} work={work} part={part} onDone={onOpen} />}
    </li>
  );
}

interface FormProps {
  view: View;
  work: Work;
  part: Part | undefined;
  onDone: () => void;
}

function WorkForm({ view, work, part, onDone }: FormProps) {
  const draft = useDraft(`work ${view.job} ${work.fact}`, {
    text: work.text,
    pins: work.pins ?? "",
    minutes: work.minutes ? String(work.minutes) : "",
  });
  const { text, pins, minutes } = draft.value;
  const typed = readNumber(minutes);
  const good = text.trim() && (typed.kind === "empty" || typed.kind === "number");
  const keep = () => {
    if (!good) return;
    const spent = typed.kind === "number" ? Math.round(typed.value) : null;
    const body = bodyOf({ ...work, text: text.trim(), pins: pins.trim(), minutes: spent });
    void record(view.job, "work", body, { words: text.trim(), replaces: work.fact });
    draft.clear();
    onDone();
  };
  return (
    <div class="work-form">
      <Field
        label="What"
        value={text}
        onInput={(next) => draft.set({ text: next })}
        onEnter={keep}
      />
      <div class="pair">
        <Field
          label="From pin to pin"
          value={pins}
          onInput={(next) => draft.set({ pins: next })}
          onEnter={keep}
        />
        <NumberField
          label="Time"
          unit="min"
          text={minutes}
          onInput={(next) => draft.set({ minutes: next })}
          onNumber={keep}
        />
      </div>
      <div class="row">
        <Button kind="main" disabled={!good || !draft.touched} onClick={keep}>
          Record the change
        </Button>
        <Button kind="quiet" onClick={() => void takeBack(view.job, work.fact)}>
          Take it off the list
        </Button>
      </div>
      {part && <EditForm view={view} part={part} phase="repaired" />}
    </div>
  );
}

/* ---- a line of one's own -------------------------------------------------------------------------------- */

export function OwnLine({ view, parts }: { view: View; parts: Part[] }) {
  const draft = useDraft(`work ${view.job}`, { text: "" });
  const text = draft.value.text.trim();
  const named = parts.find(({ name }) => text.split(/[\s,.:]+/).includes(name));
  const keep = () => {
    if (!text) return;
    putOn(view, {
      part: named?.name ?? "",
      text: text.charAt(0).toUpperCase() + text.slice(1),
      pins: pinsOf(named),
    });
    draft.clear();
  };
  return (
    <div class="own-line">
      <Field
        label="Another line"
        value={draft.value.text}
        onInput={(typed) => draft.set({ text: typed })}
        onEnter={keep}
        hint={
          named
            ? `${named.name}: ${pinsOf(named)}`
            : "Resolder R12 at V2.8. Enter puts it on the list"
        }
      />
    </div>
  );
}
