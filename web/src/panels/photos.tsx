// Photos of a job: sent one after the other, with progress, stoppable.
import { useRef, useState } from "preact/hooks";
import { ApiError, PHOTO_BYTES, record, sendPhoto } from "../api";
import { say } from "../store";
import type { Fault, Photo, View } from "../types";
import { Button, Field } from "../ui/controls";
import { Dialog, Problem } from "../ui/frame";
import { Bar } from "../ui/marks";

interface Sending {
  name: string;
  part: number; // 0 to 1
  stop: AbortController;
}

const tooBig = (file: File): Fault => ({
  code: "value",
  cause: `${file.name} has ${Math.round(file.size / 1e6)} MB; 40 MB are taken.`,
  remedy: "Make it smaller, or take it at a lower setting.",
});

export function Photos({ view, part }: { view: View; part?: string }) {
  const [sending, setSending] = useState<Sending | null>(null);
  const [faults, setFaults] = useState<Fault[]>([]);
  const [open, setOpen] = useState<Photo | null>(null);
  const pick = useRef<HTMLInputElement>(null);
  const shown = view.photos.filter((photo) => !part || photo.part === part);

  async function sendOne(file: File): Promise<void> {
    const stop = new AbortController();
    const show = (share: number) => setSending({ name: file.name, part: share, stop });
    show(0);
    const { hash } = await sendPhoto(view.job, file, show, stop.signal);
    const body = part ? { hash, part } : { hash };
    const { fact } = await record(view.job, "photo", body, { words: `photo ${file.name}` });
    say(`${file.name} recorded.`, { undo: { job: view.job, fact } });
  }

  async function sendAll(files: File[]): Promise<void> {
    setFaults([]);
    for (const file of files) {
      try {
        if (file.size > PHOTO_BYTES) setFaults((before) => [...before, tooBig(file)]);
        else await sendOne(file);
      } catch (error) {
        setFaults((before) => [...before, ...(error as ApiError).faults]);
      }
    }
    setSending(null);
  }

  return (
    <>
      <Problem faults={faults} />
      <ul class="photos">
        {shown.map((photo) => (
          <li key={photo.fact}>
            <button type="button" class="photo" onClick={() => setOpen(photo)}>
              <img
                src={`/api/photos/${photo.hash}?small=1`}
                alt={photo.caption ?? `photo ${photo.fact}`}
                loading="lazy"
                width="200"
                height="150"
              />
              <span>{[photo.part, photo.caption].filter(Boolean).join(": ") || "no caption"}</span>
            </button>
          </li>
        ))}
        <li>
          <input
            ref={pick}
            type="file"
            accept="image/jpeg,image/png"
            multiple
            hidden
            onChange={(event) => {
              void sendAll([...(event.currentTarget.files ?? [])]);
              event.currentTarget.value = "";
            }}
          />
          {sending ? (
            <div class="photo sending" role="status">
              <Bar share={sending.part}>{sending.name}</Bar>
              <Button onClick={() => sending.stop.abort()}>Stop</Button>
            </div>
          ) : (
            <button type="button" class="photo add" onClick={() => pick.current?.click()}>
              Add photos
              <span>JPEG or PNG, up to 40 MB</span>
            </button>
          )}
        </li>
      </ul>
      <PhotoDialog view={view} photo={open} onClose={() => setOpen(null)} />
    </>
  );
}

function PhotoDialog({
  view,
  photo,
  onClose,
}: {
  view: View;
  photo: Photo | null;
  onClose: () => void;
}) {
  const [caption, setCaption] = useState<string | null>(null);
  const close = () => {
    if (photo && caption !== null && caption.trim() !== (photo.caption ?? "")) {
      const body: Record<string, unknown> = { hash: photo.hash };
      if (caption.trim()) body.caption = caption.trim();
      if (photo.part) body.part = photo.part;
      void record(view.job, "photo", body, {
        replaces: photo.fact,
        words: `caption ${caption.trim()}`,
      });
    }
    setCaption(null);
    onClose();
  };
  return (
    <Dialog title="Photo" open={photo !== null} onClose={close}>
      {photo && (
        <>
          <img
            class="photo-large"
            src={`/api/photos/${photo.hash}`}
            alt={photo.caption ?? "photo"}
          />
          <Field
            label="Caption"
            hint="Recorded when you close"
            value={caption ?? photo.caption ?? ""}
            onInput={setCaption}
            onEnter={close}
          />
        </>
      )}
    </Dialog>
  );
}
