// The right fuse at each place, and what is wrong with the one fitted.
import { useResource } from "../store";
import type { Fuse, FuseList } from "../types";
import { From, Section } from "../ui/frame";
import { Badge } from "../ui/marks";
import { quantity, volts } from "../units";
import { Keep, type PaperProps } from "./paper";
import { Mains } from "./paper-mains";

export function Fuses({ view, as }: PaperProps) {
  const found = useResource<FuseList>(`/api/jobs/${view.job}/fuse?as=${as}`);
  return (
    <>
      <From of={found} lines={6}>
        {({ fuses, mains_v }) => (
          <>
            {fuses.map((fuse) => (
              <One key={fuse.where} fuse={fuse} />
            ))}
            {!fuses.length && <p class="empty">No place for a fuse was found.</p>}
            <Keep
              view={view}
              what="Fuses"
              lines={fuses.map(
                ({ part, where, right, wrong }) =>
                  `${part ?? "none"}, ${where}: ${right}${wrong ? `; ${wrong}` : ""}`,
              )}
            >
              Computed on {volts(mains_v)} V.
            </Keep>
          </>
        )}
      </From>
      <Mains view={view} as={as} />
    </>
  );
}

const fitted = ({ part, fitted_a, fitted_kind }: Fuse): string =>
  part === null
    ? "none is drawn here"
    : fitted_a === null
      ? "no rating given"
      : [quantity(fitted_a, "A"), fitted_kind].filter(Boolean).join(", ");

function One({ fuse }: { fuse: Fuse }) {
  const rows: [string, string][] = [
    ["Fitted", fitted(fuse)],
    ["Carries", quantity(fuse.running_a, "A")],
    ["At switch-on", quantity(fuse.inrush_a, "A")],
    ["Into a short", quantity(fuse.fault_a, "A")],
  ];
  return (
    <Section title={[fuse.part, fuse.where].filter(Boolean).join(", ")}>
      <p class="paper-right">{fuse.right}</p>
      <p>
        {fuse.wrong ? (
          <Badge shape="hazard" tone="hazard">
            {fuse.wrong}
          </Badge>
        ) : (
          fuse.part !== null && <Badge shape="dot">Nothing against the one fitted</Badge>
        )}
      </p>
      <dl class="idle">
        {rows.map(([name, value]) => (
          <div key={name}>
            <dt>{name}</dt>
            <dd>{value}</dd>
          </div>
        ))}
      </dl>
      <p class="paper-why">{fuse.why}</p>
    </Section>
  );
}
