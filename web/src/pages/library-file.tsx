// An amp's file: the library's is read, the shop's own is written; a copy makes one into the other.
import { useState } from "preact/hooks";
import { ApiError, request } from "../api";
import { go, refresh, say, useDraft } from "../store";
import type { Fault, LibraryAmp } from "../types";
import { Button, Field } from "../ui/controls";
import { Dialog, Problem } from "../ui/frame";
import { Editor, useCheck } from "./library-editor";

const path = (name: string): string => `/api/amps/${encodeURIComponent(name)}`;

async function save(name: string, text: string): Promise<Fault[] | null> {
  try {
    await request(path(name), { method: "PUT", body: { text } });
    refresh((asked) => asked.startsWith("/api/amps") || asked.startsWith("/api/curves"));
    return null;
  } catch (error) {
    return (error as ApiError).faults;
  }
}

export function LibraryFile({ amp }: { amp: LibraryAmp }) {
  const draft = useDraft(`amp file ${amp.name}`, { text: amp.text });
  const text = amp.own ? draft.value.text : amp.text;
  const { checked, busy, lost } = useCheck(text);
  const [faults, setFaults] = useState<Fault[] | null>(null);
  const changed = amp.own && text !== amp.text;
  const keep = async () => {
    const refused = await save(amp.name, text);
    setFaults(refused);
    if (refused) return;
    draft.clear();
    say(`${amp.name} saved.`);
  };
  return (
    <>
      <p class="dim file-words">
        {amp.own
          ? "The shop’s own. What you type is kept here until you save it."
          : "The library’s: it cannot be written. Copy it to the shop to change it."}
      </p>
      <Editor
        label={`The file of ${amp.name}`}
        text={text}
        onInput={(typed) => draft.set({ text: typed })}
        readOnly={!amp.own}
        checked={checked}
        busy={busy}
      />
      <Problem faults={faults ?? lost} />
      {amp.own && (
        <div class="foot">
          <Button
            kind="main"
            disabled={!changed || busy || checked.errors.length > 0}
            onClick={() => void keep()}
          >
            Save
          </Button>
          <Button kind="quiet" disabled={!changed} onClick={draft.clear}>
            Back to what is saved
          </Button>
          <span class="dim">
            {!changed
              ? "Saved."
              : checked.errors.length
                ? "Saved once it is in order; kept here until then."
                : "Not saved yet."}
          </span>
        </div>
      )}
    </>
  );
}

/* ---- a copy for the shop ------------------------------------------------------------------------------ */

const NAME = /^[a-z0-9][a-z0-9-]*$/;

export function CopyAmp({ amp }: { amp: LibraryAmp }) {
  const [open, setOpen] = useState(false);
  const [name, setName] = useState(`${amp.name}-own`);
  const [faults, setFaults] = useState<Fault[] | null>(null);
  const wanted = name.trim().toLowerCase();
  const bad = !NAME.test(wanted);
  const copy = async () => {
    if (bad) return;
    const refused = await save(wanted, amp.text);
    setFaults(refused);
    if (refused) return;
    setOpen(false);
    say(`${wanted} is the shop’s own.`);
    go("amps", wanted, "file");
  };
  return (
    <>
      <Button onClick={() => setOpen(true)}>Copy to the shop</Button>
      <Dialog title="Copy to the shop" open={open} onClose={() => setOpen(false)}>
        <Field
          label="Its name in the shop"
          value={name}
          onInput={setName}
          onEnter={() => void copy()}
          hint="Small letters, figures and hyphens"
          problem={bad ? "Small letters, figures and hyphens: long-meadow-1958" : null}
        />
        <Problem faults={faults} />
        <Button kind="main" disabled={bad} onClick={() => void copy()}>
          Copy it
        </Button>
      </Dialog>
    </>
  );
}
