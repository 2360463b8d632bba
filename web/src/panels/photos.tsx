// Photos of a job: sent one after the other, with progress, stoppable.
import { useRef, useState } from "preact/hooks";
import { ApiError, PHOTO_BYTES, sendPhoto } from "../api";
import { record } from "../facts";
import type { Fault, Photo, View } from "../types";
import { Button, Field } from "../ui/controls";
import { Dialog, Problem } from "../ui/frame";
import { Bar } from "../ui/marks";

interface Sending {
  name: string;
  share: number; // sent so far, 0 to 1
  stop: AbortController;
}

const tooBig = (file: File): Fault => ({
  code: "value",
  cause: `it has ${Math.round(file.size / 1e6)} MB; 40 MB are taken.`,
  remedy: "Make it smaller, or take it at a lower setting.",
});

const NOTHING_IN_IT: Fault = {
  code: "value",
  cause: "the file is empty.",
  remedy: "Copy it from the camera again.",
};

async function sendOne(
  view: View,
  file: File,
  part: string | undefined,
  show: (now: Sending) => void,
) {
  if (file.size === 0) throw new ApiError(400, [NOTHING_IN_IT]);
  if (file.size > PHOTO_BYTES) throw new ApiError(413, [tooBig(file)]);
  const stop = new AbortController();
  const tell = (share: number) => show({ name: file.name, share, stop });
  tell(0);
  const { hash } = await sendPhoto(view.job, file, tell, stop.signal);
  const body = part ? { hash, part } : { hash };
  void record(view.job, "photo", body, { words: `photo ${file.name}` });
}

/** Which of several photos it was. */
const named = (file: File, faults: Fault[]): Fault[] =>
  faults.map((fault) => ({ ...fault, cause: `“${file.name}”: ${fault.cause}` }));

/** The photos on their way, and why some did not arrive. */
function useSending(view: View, part?: string) {
  const [sending, show] = useState<Sending | null>(null);
  const [faults, setFaults] = useState<Fault[]>([]);
  const send = async (files: File[]) => {
    setFaults([]);
    for (const file of files)
      await sendOne(view, file, part, show).catch((error: ApiError) =>
        setFaults((before) => [...before, ...named(file, error.faults)]),
      );
    show(null);
  };
  return { sending, faults, send };
}

export function Photos({ view, part }: { view: View; part?: string }) {
  const { sending, faults, send } = useSending(view, part);
  const [open, setOpen] = useState<Photo | null>(null);
  const shown = view.photos.filter((photo) => !part || photo.part === part);
  return (
    <>
      <Problem faults={faults} />
      <ul class="photos">
        {shown.map((photo) => (
          <li key={photo.fact}>
            <Thumbnail photo={photo} onOpen={() => setOpen(photo)} />
          </li>
        ))}
        <li>
          {sending ? (
            <Progress sending={sending} />
          ) : (
            <AddPhotos onPick={(files) => void send(files)} />
          )}
        </li>
      </ul>
      <PhotoDialog view={view} photo={open} onClose={() => setOpen(null)} />
    </>
  );
}

const address = (photo: Photo): string => `/api/photos/${photo.hash}`;

function Thumbnail({ photo, onOpen }: { photo: Photo; onOpen: () => void }) {
  const words = [photo.part, photo.caption].filter(Boolean).join(": ") || "no caption";
  return (
    <button type="button" class="photo" onClick={onOpen}>
      <img src={`${address(photo)}?small=1`} alt="" loading="lazy" width="200" height="150" />
      <span>{words}</span>
    </button>
  );
}

function Progress({ sending }: { sending: Sending }) {
  return (
    <div class="photo sending" role="status">
      <Bar share={sending.share}>{sending.name}</Bar>
      <Button onClick={() => sending.stop.abort()}>Stop</Button>
    </div>
  );
}

function AddPhotos({ onPick }: { onPick: (files: File[]) => void }) {
  const pick = useRef<HTMLInputElement>(null);
  return (
    <>
      <input
        ref={pick}
        type="file"
        accept="image/jpeg,image/png"
        multiple
        hidden
        onChange={(event) => {
          onPick([...(event.currentTarget.files ?? [])]);
          event.currentTarget.value = "";
        }}
      />
      <button type="button" class="photo add" onClick={() => pick.current?.click()}>
        Add photos
        <span>JPEG or PNG, up to 40 MB</span>
      </button>
    </>
  );
}

function captionBody(photo: Photo, caption: string): Record<string, unknown> {
  const body: Record<string, unknown> = { hash: photo.hash };
  if (caption) body.caption = caption;
  if (photo.part) body.part = photo.part;
  return body;
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
    const words = caption?.trim();
    if (photo && words !== undefined && words !== (photo.caption ?? ""))
      void record(view.job, "photo", captionBody(photo, words), {
        replaces: photo.fact,
        words: `caption “${words}”`,
      });
    setCaption(null);
    onClose();
  };
  return (
    <Dialog title="Photo" open={photo !== null} onClose={close}>
      {photo && (
        <>
          <img
            class="photo-large"
            src={address(photo)}
            alt={photo.caption ?? "photo without caption"}
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
