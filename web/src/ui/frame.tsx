// What content stands in: panels, sections, tables, dialogs, sentences about what went wrong.
import type { ComponentChildren } from "preact";
import { useEffect, useId, useLayoutEffect, useRef } from "preact/hooks";
import type { Resource } from "../store";
import type { Fault } from "../types";
import { Button } from "./controls";
import { sentence } from "../units";
import { Mark } from "./marks";

interface PanelProps {
  title: string;
  lead?: ComponentChildren; // one line under the title
  tools?: ComponentChildren; // at the right of the title
  children: ComponentChildren;
}

/** A whole panel or page: its title takes the focus when it opens, so that a reader hears it. */
export function Panel({ title, lead, tools, children }: PanelProps) {
  const head = useRef<HTMLHeadingElement>(null);
  useEffect(() => {
    document.title = `${title} \u2013 gridleak`;
    const field = head.current?.closest(".panel")?.querySelector<HTMLElement>("[data-first]");
    (field ?? head.current)?.focus({ preventScroll: true });
  }, [title]);
  return (
    <div class="panel">
      <div class="panel-head">
        <div>
          <h1 tabIndex={-1} ref={head}>
            {title}
          </h1>
          {lead && <p class="lead">{lead}</p>}
        </div>
        {tools && <div class="tools">{tools}</div>}
      </div>
      {children}
    </div>
  );
}

interface SectionProps {
  title: string;
  aside?: ComponentChildren;
  children: ComponentChildren;
  class?: string;
}

export function Section(props: SectionProps) {
  const id = useId();
  return (
    <section class={`section ${props.class ?? ""}`} aria-labelledby={id}>
      <div class="section-head">
        <h2 id={id}>{props.title}</h2>
        {props.aside}
      </div>
      {props.children}
    </section>
  );
}

export interface Column<T> {
  title: string;
  cell: (row: T) => ComponentChildren;
  kind?: "number" | "text" | "wide";
}

interface TableProps<T> {
  caption: string; // for screen readers
  columns: Column<T>[];
  rows: T[];
  rowKey: (row: T) => string | number;
  empty: string; // what to do when there is nothing
  rowClass?: (row: T) => string;
}

export function Table<T>({ caption, columns, rows, rowKey, empty, rowClass }: TableProps<T>) {
  if (!rows.length) return <p class="empty">{empty}</p>;
  return (
    <div class="table-way" tabIndex={0} role="region" aria-label={caption}>
      <table>
        <caption class="unseen">{caption}</caption>
        <thead>
          <tr>
            {columns.map((column) => (
              <th key={column.title} scope="col" class={column.kind}>
                {column.title}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {rows.map((row) => (
            <tr key={rowKey(row)} class={rowClass?.(row)}>
              {columns.map((column) => (
                <td key={column.title} class={column.kind}>
                  {column.cell(row)}
                </td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

/** What went wrong, where, and what to do: the program's own sentences. */
export function Problem({ faults }: { faults: Fault[] | null | undefined }) {
  if (!faults?.length) return null;
  return (
    <div class="problem-box" role="alert">
      <Mark shape="hazard" />
      <ul>
        {faults.map((fault, at) => (
          <li key={at}>
            {fault.line ? <span class="place">line {fault.line}: </span> : null}
            {sentence(fault.cause)}
            {fault.remedy ? <span class="remedy"> {sentence(fault.remedy)}</span> : null}
          </li>
        ))}
      </ul>
    </div>
  );
}

/** Content of a resource: space is kept while it comes, and old content stays while new is asked. */
export function From<T>({
  of,
  children,
  lines = 3,
}: {
  of: Resource<T>;
  children: (data: T) => ComponentChildren;
  lines?: number;
}) {
  return (
    <>
      {of.faults && <Problem faults={of.faults} />}
      {of.data !== null ? children(of.data) : of.faults ? null : <Wait lines={lines} />}
    </>
  );
}

export function Wait({ lines }: { lines: number }) {
  return (
    <div class="wait" aria-hidden="true">
      {Array.from({ length: lines }, (_, at) => (
        <span key={at} />
      ))}
    </div>
  );
}

interface DialogProps {
  title: string;
  open: boolean;
  onClose: () => void;
  children: ComponentChildren;
}

const TYPED_INTO = "textarea, input:not([type=radio], [type=checkbox])";

export function Dialog({ title, open, onClose, children }: DialogProps) {
  const box = useRef<HTMLDialogElement>(null);
  const id = useId();
  // At once, not after the next picture: the next key belongs to what is in sight then.
  useLayoutEffect(() => {
    const dialog = box.current!;
    if (open && !dialog.open) {
      dialog.showModal();
      dialog.querySelector<HTMLElement>(TYPED_INTO)?.focus(); // else the browser takes Close
    }
    if (!open && dialog.open) dialog.close();
  }, [open]);
  return (
    <dialog ref={box} aria-labelledby={id} onClose={onClose}>
      {open && (
        <>
          <div class="dialog-head">
            <h2 id={id}>{title}</h2>
            <Button kind="quiet" onClick={onClose}>
              Close
            </Button>
          </div>
          {children}
        </>
      )}
    </dialog>
  );
}
