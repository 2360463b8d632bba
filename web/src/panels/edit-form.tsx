// An edit of the amp: the part in hand is not as drawn (found), or was changed by the repair.
import { useState } from "preact/hooks";
import { ApiError, request } from "../api";
import { applyView, say, useDraft } from "../store";
import type { Edit, Fault, Part, Recorded, View } from "../types";
import { Button, Choice, Field } from "../ui/controls";
import { Problem } from "../ui/frame";

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

/** Sends an edit. Answers null when it stands, or why the amp would no longer read. What is odd in the
 * amp since is told by the status line. An answer lost on the way is looked for in the job first, so
 * that asking again makes no second edit. */
export async function sendEdit(view: View, body: Partial<Edit>): Promise<Fault[] | null> {
  try {
    const now = await request<View>(`/api/jobs/${view.job}`);
    const stands = now.edits.some(
      (edit) =>
        edit.phase === body.phase &&
        edit.part === body.part &&
        edit.does === body.does &&
        (edit.key ?? "") === (body.key ?? "") &&
        (edit.to ?? "") === (body.to ?? ""),
    );
    if (stands) return (applyView(now), null);
    const answer = await request<Recorded>(`/api/jobs/${view.job}/edit`, { method: "POST", body });
    applyView(answer.view);
    say(`Recorded: ${body.part} is not as drawn.`, {
      undo: { job: view.job, fact: answer.fact },
      faults: answer.errors,
    });
    return null;
  } catch (error) {
    return (error as ApiError).faults;
  }
}

export function EditForm({
  view,
  part,
  phase = "found",
}: {
  view: View;
  part: Part;
  phase?: Edit["phase"];
}) {
  const keys = KEYS[part.kind] ?? ["value", "at"];
  const draft = useDraft<Typed>(`edit ${phase} ${view.job} ${part.name}`, {
    does: "change",
    key: keys[0]!,
    to: "",
    reason: "",
  });
  const [open, setOpen] = useState(draft.touched);
  const [faults, setFaults] = useState<Fault[] | null>(null);
  const { value: typed, set } = draft;
  const done = view.edits.filter((edit) => edit.part === part.name && edit.phase === phase);

  async function send(): Promise<void> {
    const change = typed.does === "change";
    const body: Partial<Edit> = { phase, part: part.name, does: typed.does };
    if (change) Object.assign(body, { key: typed.key.trim(), to: typed.to.trim() });
    if (change && isValue(typed.key) && part.value) body.from = part.value;
    if (typed.reason.trim()) body.reason = typed.reason.trim();
    const refused = await sendEdit(view, body);
    setFaults(refused);
    if (!refused) {
      draft.clear();
      setOpen(false);
    }
  }

  if (!open)
    return (
      <div class="row edit-row">
        <Button onClick={() => setOpen(true)}>
          {phase === "found" ? "Not as drawn" : "Changed by the repair"}
        </Button>
        <span class="dim">
          {done.map((edit) => `${edit.key ?? edit.does} ${edit.to ?? ""}`).join("; ")}
        </span>
      </div>
    );
  return (
    <div class="edit-form">
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
            hint={
              isValue(typed.key) && part.value ? `Drawn: ${part.value}` : "As an amp file has it"
            }
            value={typed.to}
            onInput={(to) => set({ to })}
            onEnter={() => void send()}
          />
        </div>
      )}
      <Field label="Why, if you know" value={typed.reason} onInput={(reason) => set({ reason })} />
      <Problem faults={faults} />
      <div class="row">
        <Button
          kind="main"
          disabled={typed.does === "change" && !(typed.to.trim() && typed.key.trim())}
          onClick={() => void send()}
        >
          Record the difference
        </Button>
        <Button kind="quiet" onClick={() => (draft.clear(), setOpen(false), setFaults(null))}>
          Leave it
        </Button>
      </div>
    </div>
  );
}
