// An edit of the amp: the part in hand is not as drawn (found), or was changed by the repair.
import { useState } from "preact/hooks";
import { ApiError, request } from "../api";
import { applyView, say, useDraft, type Draft } from "../store";
import type { Edit, Fault, Part, Recorded, View } from "../types";
import { Button, Choice, Field } from "../ui/controls";
import { Problem } from "../ui/frame";
import { sentence } from "../units";

const KEYS: Record<string, string[]> = {
  resistor: ["value", "watts", "kind", "tolerance", "at"],
  capacitor: ["value", "volts", "kind", "at"],
  tube: ["type"],
  pot: ["value", "taper", "at"],
  fuse: ["amps", "kind"],
};

/** The keys that the parts list shows as the part's value. */
const isValue = (key: string): boolean => key === "value" || key === "type";

interface Typed {
  does: Edit["does"];
  key: string;
  to: string;
  reason: string;
}

export interface Sent {
  refused: Fault[] | null; // why the amp would no longer read
  odd: Fault[]; // what is odd in the amp as it stands now
}

const same = (a: string | null | undefined, b: string | null | undefined): boolean =>
  (a ?? "") === (b ?? "");

const isIn = (view: View, body: Partial<Edit>): boolean =>
  view.edits.some(
    (edit) =>
      edit.phase === body.phase &&
      edit.part === body.part &&
      edit.does === body.does &&
      same(edit.key, body.key) &&
      same(edit.to, body.to),
  );

/** Sends an edit. An answer lost on the way is looked for in the job first, so that asking again
 * makes no second edit. */
export async function sendEdit(view: View, body: Partial<Edit>): Promise<Sent> {
  try {
    const now = await request<View>(`/api/jobs/${view.job}`);
    if (isIn(now, body)) {
      applyView(now);
      return { refused: null, odd: [] };
    }
    const ask = { method: "POST", body } as const;
    const answer = await request<Recorded>(`/api/jobs/${view.job}/edit`, ask);
    applyView(answer.view);
    const words = [body.part, body.does === "change" ? body.to : body.does].join(", ");
    say(`Recorded: ${words}.`, { undo: { job: view.job, fact: answer.fact } });
    return { refused: null, odd: answer.errors ?? [] };
  } catch (error) {
    // The line is one of the amp's file, which is not in sight here.
    const refused = (error as ApiError).faults.map((fault) => ({ ...fault, line: null }));
    return { refused, odd: [] };
  }
}

/** What the program finds odd in the amp since an edit: it may be meant so. */
export function Odd({ faults }: { faults: Fault[] }) {
  if (!faults.length) return null;
  return (
    <div class="odd">
      <p>It stands. What is odd in the amp as it is now:</p>
      <ul>
        {faults.map((fault, at) => (
          <li key={at}>{sentence(fault.cause)}</li>
        ))}
      </ul>
    </div>
  );
}

interface FormProps {
  view: View;
  part: Part;
  phase?: Edit["phase"];
}

function editBody(part: Part, phase: Edit["phase"], typed: Typed): Partial<Edit> {
  const body: Partial<Edit> = { phase, part: part.name, does: typed.does };
  if (typed.reason.trim()) body.reason = typed.reason.trim();
  if (typed.does !== "change") return body;
  body.key = typed.key.trim();
  body.to = typed.to.trim();
  if (isValue(body.key) && part.value) body.from = part.value;
  return body;
}

export function EditForm({ view, part, phase = "found" }: FormProps) {
  const keys = KEYS[part.kind] ?? ["value", "at"];
  const start: Typed = { does: "change", key: keys[0]!, to: "", reason: "" };
  const draft = useDraft<Typed>(`edit ${phase} ${view.job} ${part.name}`, start);
  const [open, setOpen] = useState(draft.touched);
  const [sent, setSent] = useState<Sent>({ refused: null, odd: [] });
  const leave = () => {
    draft.clear();
    setOpen(false);
  };
  const send = async () => {
    const answer = await sendEdit(view, editBody(part, phase, draft.value));
    setSent(answer);
    if (!answer.refused) leave();
  };
  if (open)
    return (
      <div class="edit-form">
        <Fields draft={draft} part={part} keys={keys} onEnter={() => void send()} />
        <Problem faults={sent.refused} />
        <div class="row">
          <Button kind="main" disabled={!whole(draft.value)} onClick={() => void send()}>
            Record the difference
          </Button>
          <Button kind="quiet" onClick={leave}>
            Leave it
          </Button>
        </div>
      </div>
    );
  const done = view.edits.filter((edit) => edit.part === part.name && edit.phase === phase);
  return (
    <>
      <div class="row edit-row">
        <Button onClick={() => setOpen(true)}>
          {phase === "found" ? "Not as drawn" : "Changed by the repair"}
        </Button>
        <span class="dim">{done.map(wordsOf).join("; ")}</span>
      </div>
      <Odd faults={sent.odd} />
    </>
  );
}

const whole = ({ does, key, to }: Typed): boolean =>
  does !== "change" || (key.trim() !== "" && to.trim() !== "");

const wordsOf = (edit: Edit): string =>
  edit.does === "change"
    ? `${edit.key} ${edit.to}`
    : edit.does === "remove"
      ? "not there"
      : "added";

interface FieldsProps {
  draft: Draft<Typed>;
  part: Part;
  keys: string[];
  onEnter: () => void;
}

function Fields({ draft: { value: typed, set }, part, keys, onEnter }: FieldsProps) {
  const drawn = isValue(typed.key) && part.value ? `Drawn: ${part.value}` : "As an amp file has it";
  return (
    <>
      <Choice
        label="Against the drawing, it is"
        value={typed.does}
        onChoose={(does) => set({ does })}
        options={[
          { value: "change", words: "another one" },
          { value: "remove", words: "not there" },
        ]}
      />
      {typed.does === "change" && (
        <div class="pair">
          <Field
            label="What differs"
            list={keys}
            value={typed.key}
            onInput={(key) => set({ key })}
          />
          <Field
            label="Found"
            hint={drawn}
            value={typed.to}
            onInput={(to) => set({ to })}
            onEnter={onEnter}
          />
        </div>
      )}
      <Field label="Why, if you know" value={typed.reason} onInput={(reason) => set({ reason })} />
    </>
  );
}
