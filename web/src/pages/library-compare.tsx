// An amp that was here: as drawn beside as found and as repaired.
import { useDraft, useResource } from "../store";
import type { Difference, JobRow, LibraryAmp } from "../types";
import { Link } from "../ui/controls";
import { From, Section, Table } from "../ui/frame";
import { date } from "../units";

const MOST = 20;

export function LibraryCompare({ amp }: { amp: LibraryAmp }) {
  const draft = useDraft(`compare ${amp.name}`, { job: 0 });
  const jobs = useResource<JobRow[]>(`/api/jobs?q=${encodeURIComponent(amp.name)}&most=${MOST}`);
  return (
    <From of={jobs}>
      {(rows) => {
        const own = rows.filter((row) => row.amp === amp.name || row.amp === amp.amp);
        const chosen = own.find(({ job }) => job === draft.value.job) ?? own[0];
        if (!chosen) return <p class="empty">No job of this amp so far.</p>;
        return (
          <div class="tubes">
            <ul class="tube-list" aria-label="Jobs of this amp">
              {own.map((row) => (
                <li key={row.job}>
                  <button
                    type="button"
                    class="button plain wide job-pick"
                    aria-pressed={row === chosen}
                    onClick={() => draft.set({ job: row.job })}
                  >
                    <span>
                      {row.number} {row.owner}
                    </span>
                    <span class="dim">{date(row.opened)}</span>
                  </button>
                </li>
              ))}
            </ul>
            <div>
              <Differences job={chosen} from="drawn" to="found" title="As drawn, as found" />
              <Differences job={chosen} from="found" to="repaired" title="As found, as repaired" />
              <Link to={`jobs/${chosen.job}/look-over`}>Open job {chosen.number}</Link>
            </div>
          </div>
        );
      }}
    </From>
  );
}

interface Props {
  job: JobRow;
  from: string;
  to: string;
  title: string;
}

function Differences({ job, from, to, title }: Props) {
  const list = useResource<Difference[]>(`/api/jobs/${job.job}/differences?from=${from}&to=${to}`);
  return (
    <Section title={title}>
      <From of={list}>
        {(rows) => (
          <Table
            caption={`${title}: the parts`}
            rows={rows}
            rowKey={(row) => `${row.part} ${row.key} ${row.does}`}
            empty="No difference recorded."
            columns={[
              { title: "Part", cell: ({ part }) => <strong>{part}</strong> },
              { title: "What", cell: ({ key, does }) => key ?? does },
              { title: from, cell: (row) => row.from ?? "" },
              { title: to, cell: (row) => row.to ?? "" },
              { title: "To undo it", kind: "wide", cell: ({ undo }) => undo },
            ]}
          />
        )}
      </From>
    </Section>
  );
}
