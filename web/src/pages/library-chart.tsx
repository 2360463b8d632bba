// What a good amp of this kind reads: the chart, to look at.
import { grouped, band, whatWords } from "../panels/measure-readings";
import type { Chart, ChartLine, Part } from "../types";
import { Table } from "../ui/frame";
import { quantity, volts } from "../units";

const shown = ({ shown: value }: ChartLine): string =>
  value !== null && Math.abs(value) < 0.005 ? "0" : volts(value);

export function LibraryChart({ chart, parts }: { chart: Chart; parts: Part[] }) {
  const does = (name: string): string => {
    const tube = parts.find((part) => part.name === name);
    return [tube?.value, tube?.what].filter(Boolean).join(", ");
  };
  return (
    <>
      <p class="dim">
        Healthy, idle, {volts(chart.mains_v)} V {chart.mains_hz} Hz at the wall, a 10 Mohm meter.
      </p>
      {grouped(chart.lines).map(({ name, lines }) => (
        <section key={name} class="library-group">
          <h2>
            {name} <span class="dim">{does(name)}</span>
          </h2>
          <Table
            caption={`${name}, volts`}
            rows={lines}
            rowKey={({ at }) => at}
            empty=""
            columns={[
              { title: "Place", cell: ({ at }) => <strong>{at}</strong> },
              { title: "What", cell: whatWords },
              { title: "Reads", kind: "number", cell: shown },
              { title: "19 of 20 good amps", cell: band },
              { title: "Printed", kind: "number", cell: ({ printed }) => volts(printed) },
              {
                title: "Source",
                kind: "number",
                cell: ({ source_ohms }) => quantity(source_ohms, "ohm"),
              },
            ]}
          />
        </section>
      ))}
    </>
  );
}
