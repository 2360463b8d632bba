// Notes of a job: anything, from any step.
import { record } from "./facts";
import { takeBack, useDraft } from "./store";
import type { View } from "./types";
import { Button, Field } from "./ui/controls";
import { Dialog } from "./ui/frame";

interface Props {
  view: View;
  open: boolean;
  onClose: () => void;
}

export function NotesDialog({ view, open, onClose }: Props) {
  const draft = useDraft(`note ${view.job}`, { text: "" });
  const text = draft.value.text.trim();
  const keep = () => {
    draft.clear();
    void record(view.job, "note", { text }, { words: `note “${text.slice(0, 40)}”` });
  };
  return (
    <Dialog title="Notes" open={open} onClose={onClose}>
      <Field
        label="A new note"
        lines={3}
        value={draft.value.text}
        onInput={(words) => draft.set({ text: words })}
      />
      <Button kind="main" disabled={!text} onClick={keep}>
        Record
      </Button>
      <ul class="notes">
        {[...view.notes].reverse().map((note) => (
          <li key={note.fact}>
            <p>{note.text}</p>
            <Button
              kind="quiet"
              label="Take this note back"
              onClick={() => void takeBack(view.job, note.fact)}
            >
              Take back
            </Button>
          </li>
        ))}
      </ul>
    </Dialog>
  );
}
