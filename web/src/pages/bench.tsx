// The front page: the jobs on the bench, the search over all, what this shop has seen before.
import { useEffect, useRef, useState } from "preact/hooks";
import { go, searchWanted, useResource } from "../store";
import { STAGES, type AmpRow, type History, type JobRow } from "../types";
import { Field, Link } from "../ui/controls";
import { From, Panel } from "../ui/frame";
import { date } from "../units";
import type { Page } from ".";

const MOST = 50;
const SETTLE_MS = 120; // typing pause before the search is asked

function useSettled(text: string): string {
  const [settled, setSettled] = useState(text);
  useEffect(() => {
    const later = setTimeout(() => setSettled(text), SETTLE_MS);
    return () => clearTimeout(later);
  }, [text]);
  return settled;
}

function Bench() {
  const [words, setWords] = useState("");
  const settled = useSettled(words.trim());
  const field = useRef<HTMLInputElement>(null);
  const ask = settled
    ? `/api/jobs?q=${encodeURIComponent(settled)}&most=${MOST}`
    : `/api/jobs?open=1&most=${MOST}`;
  const jobs = useResource<JobRow[]>(ask);
  useEffect(() => {
    if (!searchWanted.value) return;
    searchWanted.value = false;
    field.current?.focus();
  }, [searchWanted.value]);
  return (
    <Panel
      title={settled ? "Found" : "On the bench"}
      tools={
        <Link to="new" kind="main">
          New job
        </Link>
      }
    >
      <Field
        type="search"
        label="Search all jobs: owner, amp, part, fault"
        value={words}
        onInput={setWords}
        inputRef={field}
        onEnter={() => jobs.data?.length === 1 && go("jobs", jobs.data[0]!.job)}
      />
      <From of={jobs} lines={6}>
        {(rows) => <JobList rows={rows} searched={settled} />}
      </From>
    </Panel>
  );
}

function JobList({ rows, searched }: { rows: JobRow[]; searched: string }) {
  const amps = useResource<AmpRow[]>("/api/amps");
  const titles = new Map(amps.data?.map(({ name, amp }) => [name, amp]));
  if (!rows.length) return <p class="empty">{nothing(searched)}</p>;
  return (
    <>
      <ul class="jobs">
        {rows.map((row) => (
          <li key={row.job}>
            <JobLine row={row} title={titles.get(row.amp) ?? row.amp} />
          </li>
        ))}
      </ul>
      {rows.length === MOST && (
        <p class="dim">The newest {MOST} are shown. Another word narrows it.</p>
      )}
    </>
  );
}

const nothing = (searched: string): string =>
  searched
    ? `Nothing found with “${searched}”. Fewer letters find more.`
    : "The bench is empty. The key n takes in a job.";

function JobLine({ row, title }: { row: JobRow; title: string }) {
  return (
    <a class="job" href={`#/jobs/${row.job}`}>
      <span class="job-number">{row.number}</span>
      <span class="job-what">
        <span class="job-amp">{title}</span>
        <span class="job-owner">{row.owner}</span>
      </span>
      <span class="job-why">
        <span class="job-complaint">{row.found ?? row.complaint}</span>
        <Seen amp={row.amp} />
      </span>
      <span class="job-stage">
        <Progress row={row} />
        <span class="dim">
          {row.closed ? `handed back ${date(row.closed)}` : `in since ${date(row.opened)}`}
        </span>
      </span>
    </a>
  );
}

/** Nine marks, as on the scale of steps: where the job stands. */
function Progress({ row }: { row: JobRow }) {
  const reached = row.stage === "done" ? STAGES.length : STAGES.indexOf(row.stage);
  return (
    <span class="progress">
      <span class="progress-marks" aria-hidden="true">
        {STAGES.map((stage, at) => (
          <span key={stage} class={at < reached ? "past" : at === reached ? "next" : "later"} />
        ))}
      </span>
      <span class="progress-word">{row.stage === "done" ? "done" : row.stage}</span>
    </span>
  );
}

/** What this shop's past repairs of the same amp were. Its line is kept free while it comes. */
function Seen({ amp }: { amp: string }) {
  const { data } = useResource<History>(`/api/history?amp=${encodeURIComponent(amp)}&same=1`);
  const first = data?.causes[0];
  return (
    <span class="job-seen dim">
      {first &&
        data.alike > 1 &&
        `Of ${data.alike} like this, ${first.count} had ${first.part} ${first.what}`}
    </span>
  );
}

export const bench: Page = { id: "", title: "Bench", key: "b", view: Bench };
