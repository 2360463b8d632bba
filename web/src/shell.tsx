// The frame that never moves: the band with the amp and its state, the scale of steps, the status
// line, and what the keys do.
import { signal } from "@preact/signals";
import { link } from "./api";
import { drained } from "./drained";
import { discard, keeps, retry, trouble, waiting } from "./facts";
import { groups, keyName, setSingleKeys, singleKeys, useKeys, type Key } from "./keys";
import { NotesDialog } from "./notes";
import { pages } from "./pages";
import { panels } from "./panels";
import {
  go,
  notice,
  route,
  searchWanted,
  setTheme,
  takeBack,
  theme,
  useResource,
  useView,
  type Theme,
} from "./store";
import { STAGES, type Shop, type View } from "./types";
import { Button, Choice } from "./ui/controls";
import { Dialog, From, Problem } from "./ui/frame";
import { Mark } from "./ui/marks";
import { clock, sentence } from "./units";

const shows = signal<"" | "keys" | "waiting" | "notes">("");

export function Shell() {
  const [first = "", ...rest] = route.value;
  useKeys("Everywhere", everywhere());
  return first === "jobs" ? (
    <Job job={Number(rest[0])} panel={rest[1] ?? null} />
  ) : (
    <Beside id={first} rest={rest} />
  );
}

function search(): void {
  searchWanted.value = true;
  go("");
}

function everywhere(): Key[] {
  return [
    { key: "?", does: "show the keys", run: () => (shows.value = "keys") },
    { key: "/", does: "search the jobs", run: search },
    ...pages.map(({ id, key, title }) => ({ key, does: title.toLowerCase(), run: () => go(id) })),
    { key: "d", does: "light or dark", run: () => setTheme(dark() ? "light" : "dark") },
  ];
}

const dark = (): boolean =>
  theme.value === "dark" ||
  (theme.value === "auto" && matchMedia("(prefers-color-scheme: dark)").matches);

/* ---- a job ---------------------------------------------------------------------------------------- */

function Job({ job, panel }: { job: number; panel: string | null }) {
  const view = useView(job);
  const data = view.data;
  const wanted = panel ?? data?.stage.replace(" ", "-") ?? "take-in";
  const shown = panels.find(({ id }) => id === wanted) ?? panels[0]!;
  useKeys("This job", [
    ...panels.map(({ id, key, title }) => ({ key, does: title, run: () => go("jobs", job, id) })),
    { key: "w", does: "write a note", run: () => (shows.value = "notes") },
    { key: "u", does: "take back what was recorded last from here", run: () => void takeBack(job) },
  ]);
  return (
    <div class="frame">
      <Band view={data} job={job} />
      <Steps job={job} here={shown.id} view={data} />
      <main key={shown.id}>
        <From of={view} lines={6}>
          {(found) => <shown.view view={found} />}
        </From>
      </main>
      <StatusLine notes={data?.notes.length ?? 0} />
      {data && (
        <NotesDialog
          view={data}
          open={shows.value === "notes"}
          onClose={() => (shows.value = "")}
        />
      )}
    </div>
  );
}

function Band({ view, job }: { view: View | null; job: number }) {
  const state = view && drained(view);
  return (
    <header class="band">
      <a class="band-home" href="#/">
        <span class="band-number">{view?.number ?? job}</span>
        <span class="band-word">all jobs</span>
      </a>
      <div class="band-cell amp">
        <span class="band-label">Amp</span>
        <span class="band-main">{view && (view.amp.title ?? view.amp.name)}</span>
        <span class="band-note">{view && <AmpNote amp={view.amp} />}</span>
      </div>
      <div class="band-cell wrong">
        <span class="band-label">Complaint</span>
        <span class="band-text" title={view?.complaint}>
          {view?.complaint}
        </span>
      </div>
      <a class={`band-cell drain ${state?.tone ?? "plain"}`} href={`#/jobs/${job}/make-safe`}>
        <span class="band-label">Filter capacitors</span>
        <span class="drain-face">
          <Mark shape={state?.shape ?? "question"} />
          <span class="drain-figure">{state?.figure ?? "\u2013"}&nbsp;V</span>
          <span class="drain-word">{state?.word}</span>
        </span>
        <span class="band-note">{state?.note}</span>
      </a>
      <div class="band-cell next">
        <span class="band-label">Next</span>
        <span class="band-text">{view && <Next view={view} />}</span>
      </div>
    </header>
  );
}

function AmpNote({ amp }: { amp: View["amp"] }) {
  if (!amp.drawn) return <>no drawing yet</>;
  if (!amp.transformerless) return <>{amp.family}</>;
  return (
    <span class="hazard-word">
      <Mark shape="hazard" /> chassis may be live
    </span>
  );
}

function Next({ view }: { view: View }) {
  const panel = panels.find(({ stage }) => stage === view.stage);
  return panel ? <a href={`#/jobs/${view.job}/${panel.id}`}>{view.next}</a> : <>{view.next}</>;
}

function Steps({ job, here, view }: { job: number; here: string; view: View | null }) {
  const reached = view ? (view.stage === "done" ? STAGES.length : STAGES.indexOf(view.stage)) : 0;
  return (
    <nav class="steps" aria-label="Steps of the work">
      <ol>
        {panels.map(({ id, title, key, stage }) => {
          const at = STAGES.indexOf(stage);
          const state = at < reached ? "past" : at === reached ? "next" : "later";
          return (
            <li key={id} class={state}>
              <a href={`#/jobs/${job}/${id}`} aria-current={id === here ? "step" : undefined}>
                <span class="step-key" aria-hidden="true">
                  {key}
                </span>
                <span class="step-name">{title}</span>
                <span class="unseen">
                  {state === "past" ? ", behind you" : state === "next" ? ", comes next" : ""}
                </span>
              </a>
            </li>
          );
        })}
      </ol>
    </nav>
  );
}

/* ---- beside the jobs -------------------------------------------------------------------------------- */

function Beside({ id, rest }: { id: string; rest: string[] }) {
  const page = pages.find((one) => one.id === id) ?? pages[0]!;
  const shop = useResource<Shop>("/api/shop");
  return (
    <div class="frame">
      <header class="band beside">
        <span class="brand">gridleak</span>
        <span class="band-shop">{shop.data?.name}</span>
      </header>
      <nav class="steps beside" aria-label="Pages">
        <ul>
          {pages.map((one) => (
            <li key={one.id}>
              <a href={`#/${one.id}`} aria-current={one === page ? "page" : undefined}>
                <span class="step-key" aria-hidden="true">
                  {one.key}
                </span>
                <span class="step-name">{one.title}</span>
              </a>
            </li>
          ))}
        </ul>
      </nav>
      <main key={page.id}>
        <page.view rest={rest} />
      </main>
      <StatusLine />
    </div>
  );
}

/* ---- the status line --------------------------------------------------------------------------------- */

const THEMES: { value: Theme; words: string }[] = [
  { value: "light", words: "Light" },
  { value: "auto", words: "Auto" },
  { value: "dark", words: "Dark" },
];

/** `notes`: how many the job has; left out where there is no job. */
function StatusLine({ notes }: { notes?: number }) {
  return (
    <footer class="status">
      <div class="status-words" role="status">
        <Saved />
      </div>
      <div class="status-tools">
        {notes !== undefined && (
          <Button kind="quiet" onClick={() => (shows.value = "notes")}>
            {notes ? `Notes: ${notes}` : "Note"}
          </Button>
        )}
        <Choice
          label="Light or dark"
          hideLabel
          options={THEMES}
          value={theme.value}
          onChoose={setTheme}
        />
        <Button kind="quiet" onClick={() => (shows.value = "keys")}>
          Keys <kbd>?</kbd>
        </Button>
      </div>
      <KeysDialog />
      <WaitingDialog />
    </footer>
  );
}

function Saved() {
  const unsaved = waiting.value;
  const refused = unsaved.filter((fact) => fact.refused);
  if (refused.length)
    return (
      <span class="status-mark hazard">
        <Mark shape="hazard" />
        <span>Refused: {refused[0]!.words}</span>
        <Button kind="quiet" onClick={() => (shows.value = "waiting")}>
          See why
        </Button>
      </span>
    );
  if (unsaved.length)
    return (
      <span class="status-mark hazard">
        <Mark shape="ring" />
        <span>
          Not saved yet: {unsaved.length === 1 ? unsaved[0]!.words : `${unsaved.length} things`}.{" "}
          {keeps.value ? "Kept in this browser" : "Kept in this tab only: leave it open"}
        </span>
        <Button kind="quiet" onClick={() => (shows.value = "waiting")}>
          See them
        </Button>
      </span>
    );
  if (!link.value.up)
    return (
      <span class="status-mark hazard">
        <Mark shape="dash" />
        <span>
          The program does not answer. What you type is kept here. Start gridleak bench again.
        </span>
      </span>
    );
  return <LastNotice />;
}

function LastNotice() {
  const last = notice.value;
  if (!last)
    return (
      <span class="status-mark">
        <Mark shape="dot" />
        <span>All saved</span>
      </span>
    );
  const back = last.undo;
  return (
    <span class={`status-mark${last.faults ? " hazard" : ""}`}>
      <Mark shape={last.faults ? "hazard" : "dot"} />
      <span>
        {clock(last.at)} {last.words}{" "}
        {last.faults
          ?.map((fault) =>
            [fault.cause, fault.remedy ?? ""].filter(Boolean).map(sentence).join(" "),
          )
          .join(" ")}
      </span>
      {back && (
        <Button kind="quiet" onClick={() => void takeBack(back.job, back.fact)}>
          Take back
        </Button>
      )}
    </span>
  );
}

function KeysDialog() {
  return (
    <Dialog title="Keys" open={shows.value === "keys"} onClose={() => (shows.value = "")}>
      <div class="key-groups">
        {groups.value.map((group) => (
          <section key={group.title}>
            <h3>{group.title}</h3>
            <dl>
              {group.keys.map((key) => (
                <div key={key.key}>
                  <dt>
                    <kbd>{keyName(key.key)}</kbd>
                  </dt>
                  <dd>{key.does}</dd>
                </div>
              ))}
            </dl>
          </section>
        ))}
      </div>
      <p>
        Tab and Shift+Tab go from field to field, Enter records. Single keys rest while you type.
      </p>
      <Choice
        label="Single keys"
        options={[
          { value: "on", words: "On" },
          { value: "off", words: "Off" },
        ]}
        value={singleKeys.value ? "on" : "off"}
        onChoose={(on) => setSingleKeys(on === "on")}
      />
    </Dialog>
  );
}

function WaitingDialog() {
  return (
    <Dialog
      title="Not saved yet"
      open={shows.value === "waiting"}
      onClose={() => (shows.value = "")}
    >
      <Problem faults={trouble.value} />
      <ul class="waiting">
        {waiting.value.map((fact) => (
          <li key={fact.token}>
            <p>
              <strong>{fact.words}</strong>{" "}
              <span class="dim">
                {clock(fact.made)}, {fact.kind}
              </span>
            </p>
            {fact.refused ? (
              <>
                <Problem faults={fact.refused} />
                <div class="row">
                  <Button onClick={() => retry(fact)}>Send again</Button>
                  <Button kind="hazard" onClick={() => discard(fact)}>
                    Throw away
                  </Button>
                </div>
              </>
            ) : (
              <p class="dim">Sent as soon as the program answers.</p>
            )}
          </li>
        ))}
      </ul>
      {!waiting.value.length && <p>All is saved.</p>}
    </Dialog>
  );
}
