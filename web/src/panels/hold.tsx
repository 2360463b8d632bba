// Holding the resistor on a capacitor: the seconds count down, and then it says to measure.
import { useEffect, useState } from "preact/hooks";
import { Button } from "../ui/controls";

export function Hold({ seconds }: { seconds: number }) {
  const [end, setEnd] = useState<number | null>(null);
  const [left, setLeft] = useState(seconds);
  useEffect(() => {
    if (end === null) return;
    const tick = setInterval(() => setLeft(Math.max(0, Math.ceil((end - Date.now()) / 1000))), 200);
    return () => clearInterval(tick);
  }, [end]);
  const begin = () => {
    setEnd(Date.now() + seconds * 1000);
    setLeft(seconds);
  };
  const over = end !== null && left === 0;
  return (
    <div class="hold">
      <span class="hold-label">Resistor on</span>
      <span class="hold-figure">{left} s</span>
      <Button onClick={begin}>{end === null ? "Count" : "Again"}</Button>
      <span class="note" role="status">
        {over ? "Now measure. The count proves nothing." : ""}
      </span>
    </div>
  );
}
