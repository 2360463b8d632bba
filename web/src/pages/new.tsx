// A new job: the take-in form before there is a job to belong to.
import { useState } from "preact/hooks";
import { ApiError, request } from "../api";
import { NOTHING, TakeInForm, missing, takeInBody, type TakeIn } from "../panels/take-in-form";
import { go, refresh, say, useDraft } from "../store";
import type { Fault, JobRow } from "../types";
import { Button } from "../ui/controls";
import { Panel, Problem } from "../ui/frame";
import type { Page } from ".";

interface Sent {
  at: number; // when it was first sent; 0: not yet
}

/** A job whose answer was lost on the way is not made twice: it is looked for first. */
async function alreadyMade(form: TakeIn, since: number): Promise<number | null> {
  const rows = await request<JobRow[]>("/api/jobs?open=1&most=20");
  const same = rows.find(
    (row) =>
      row.opened >= since - 60_000 &&
      row.owner === form.owner.trim() &&
      row.complaint === form.complaint.trim(),
  );
  return same?.job ?? null;
}

function NewJob() {
  const draft = useDraft<TakeIn>("new", NOTHING);
  const sent = useDraft<Sent>("new.sent", { at: 0 });
  const [faults, setFaults] = useState<Fault[] | null>(null);
  const [busy, setBusy] = useState(false);
  const lacks = missing(draft.value);

  async function open(event: Event): Promise<void> {
    event.preventDefault();
    if (lacks || busy) return;
    setBusy(true);
    setFaults(null);
    try {
      const before = sent.value.at ? await alreadyMade(draft.value, sent.value.at) : null;
      if (!sent.value.at) sent.set({ at: Date.now() });
      const job =
        before ??
        (
          await request<{ job: number }>("/api/jobs", {
            method: "POST",
            body: takeInBody(draft.value),
          })
        ).job;
      draft.clear();
      sent.clear();
      refresh((path) => path.startsWith("/api/jobs?"));
      say("Job opened.");
      go("jobs", job, "make-safe");
    } catch (error) {
      const failure = error as ApiError;
      if (!failure.unreachable) sent.clear();
      setFaults(failure.faults);
    } finally {
      setBusy(false);
    }
  }

  return (
    <Panel title="New job" lead="What came in, and why.">
      <form onSubmit={(event) => void open(event)}>
        <TakeInForm draft={draft} />
        <Problem faults={faults} />
        <div class="foot">
          <Button type="submit" kind="main" disabled={!!lacks || busy}>
            Open the job
          </Button>
          <span class="dim">{lacks ?? "Photos can be added once it is open."}</span>
          {draft.touched && (
            <Button kind="quiet" onClick={draft.clear}>
              Empty the form
            </Button>
          )}
        </div>
      </form>
    </Panel>
  );
}

export const newJob: Page = { id: "new", title: "New job", key: "n", view: NewJob };
