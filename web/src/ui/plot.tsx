// A plot: brought in when it is wanted, drawn again where the width or the colours change. What it
// shows is always there in figures too.
import { useEffect, useRef } from "preact/hooks";
import type uPlot from "uplot";
import type { Drawing } from "../plot/lines";
import { theme } from "../store";

const HEIGHT = 420; // px, kept while it comes

/** Draws it, and again where the width or the colours change. Returns what ends it. */
function keepDrawn(place: HTMLElement, draw: () => uPlot): () => void {
  let plot = draw();
  const again = () => {
    plot.destroy();
    plot = draw();
  };
  const size = new ResizeObserver(() => place.clientWidth !== plot.width && again());
  const dark = matchMedia("(prefers-color-scheme: dark)");
  size.observe(place);
  dark.addEventListener("change", again);
  return () => {
    size.disconnect();
    dark.removeEventListener("change", again);
    plot.destroy();
  };
}

interface CanvasProps {
  of: unknown; // drawn anew when this is another
  draw: (place: HTMLElement) => Promise<() => uPlot>; // brings in what draws
  label: string;
  height?: number;
}

export function Canvas({ of, draw, label, height = HEIGHT }: CanvasProps) {
  const box = useRef<HTMLDivElement>(null);
  const look = theme.value;
  useEffect(() => {
    const place = box.current!;
    let gone = false;
    let end = () => {};
    void draw(place).then((made) => {
      if (!gone) end = keepDrawn(place, made);
    });
    return () => {
      gone = true;
      end();
    };
  }, [of, look]);
  return <div ref={box} class="curves" style={{ height }} role="img" aria-label={label} />;
}

const bringLines = (drawing: Drawing, height: number) => async (place: HTMLElement) => {
  const { drawLines } = await import("../plot/lines");
  return () => drawLines(place, drawing, height);
};

interface PlotProps {
  drawing: Drawing;
  label: string;
  height?: number;
}

export function Plot({ drawing, label, height = HEIGHT }: PlotProps) {
  return (
    <>
      <Canvas of={drawing} draw={bringLines(drawing, height)} label={label} height={height} />
      <ul class="curves-legend" aria-hidden="true">
        {drawing.lines
          .filter(({ name }) => name)
          .map(({ name, ink, dash }) => (
            <li key={name}>
              <span class={`stroke ${ink}${dash ? " dashed" : ""}`} /> {name}
            </li>
          ))}
      </ul>
    </>
  );
}
