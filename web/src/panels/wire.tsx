// A meter on a wire: what is connected, and how it is spoken to; the pedal and the voice beside it.
import { useState } from "preact/hooks";
import { request, type ApiError } from "../api";
import { hearMeter, meter, wired } from "../meter";
import { PedalForm } from "../pedal";
import { useDraft, useResource } from "../store";
import { speak, type Voice } from "../speech";
import type { Fault, LiveMeter, MetersFound } from "../types";
import { Button, Choice, Field } from "../ui/controls";
import { Dialog, From, Problem } from "../ui/frame";
import { Badge, type Shape, type Tone } from "../ui/marks";
import { volts } from "../units";

const STATUS: Record<LiveMeter["status"], { shape: Shape; tone: Tone; words: string }> = {
  none: { shape: "ring", tone: "plain", words: "No meter on a wire" },
  connecting: { shape: "question", tone: "plain", words: "Connecting" },
  reading: { shape: "dot", tone: "accent", words: "The meter reads" },
  quiet: { shape: "hazard", tone: "hazard", words: "No reply from the meter" },
  lost: { shape: "hazard", tone: "hazard", words: "The meter is lost; it is tried again" },
};

/** "168.2 V", "overload", or a dash. */
export function shows(now: LiveMeter | null): string {
  if (!now || now.status !== "reading") return "\u2013";
  if (now.word === "overload") return "over";
  return now.word === "number" ? volts(now.volts) : "\u2013";
}

export function MeterStatus() {
  const now = meter.value;
  const { shape, tone, words } = STATUS[now?.status ?? "none"];
  return (
    <Badge shape={shape} tone={tone}>
      {now?.words ?? words}
      {now?.status === "reading" && now.identity ? `: ${now.identity}` : ""}
    </Badge>
  );
}

export function useVoice() {
  return useDraft<{ voice: Voice }>("voice", { voice: "auto" });
}

export function WireButton() {
  const [open, setOpen] = useState(false);
  return (
    <>
      <Button onClick={() => setOpen(true)}>
        {wired() ? "Meter, pedal, voice" : "Connect a meter"}
      </Button>
      <Dialog title="Meter, pedal, voice" open={open} onClose={() => setOpen(false)}>
        <Wire />
        <PedalForm />
        <VoiceForm />
      </Dialog>
    </>
  );
}

function Wire() {
  const found = useResource<MetersFound>("/api/meters");
  const draft = useDraft("wire", { address: "", profile: "" });
  const [faults, setFaults] = useState<Fault[] | null>(null);
  const { address, profile } = draft.value;
  const connect = async (to: string | null) => {
    const body = to && profile ? { address: to, profile } : { address: to };
    try {
      hearMeter(await request<LiveMeter>("/api/meter", { method: "PUT", body }));
      setFaults(null);
    } catch (error) {
      setFaults((error as ApiError).faults);
    }
  };
  return (
    <div class="wire">
      <p role="status">
        <MeterStatus />
      </p>
      <From of={found} lines={1}>
        {({ found: list }) => (
          <ul class="wire-found">
            {list.map((one) => (
              <li key={one.address}>
                <Button onClick={() => draft.set({ address: one.address })}>{one.address}</Button>
                <span class="dim">{one.about}</span>
              </li>
            ))}
            {!list.length && <li class="dim">Nothing plugged in was found.</li>}
          </ul>
        )}
      </From>
      <div class="pair">
        <Field
          label="Address"
          value={address}
          onInput={(text) => draft.set({ address: text })}
          onEnter={() => void connect(address.trim())}
          hint="tcp:192.168.1.30, serial:/dev/ttyUSB0, usb:/dev/usbtmc0"
        />
        <Field
          label="Profile"
          value={profile}
          list={found.data?.profiles}
          onInput={(text) => draft.set({ profile: text })}
          hint="Empty: by what the meter says it is"
        />
      </div>
      <Problem faults={faults} />
      <div class="row">
        <Button kind="main" disabled={!address.trim()} onClick={() => void connect(address.trim())}>
          Connect
        </Button>
        <Button disabled={!wired()} onClick={() => void connect(null)}>
          Let it go
        </Button>
      </div>
    </div>
  );
}

function VoiceForm() {
  const draft = useVoice();
  return (
    <Choice
      label="Voice"
      value={draft.value.voice}
      onChoose={(voice) => {
        draft.set({ voice });
        void speak(["next", "v", "2", "pin", "6"], voice, "taken");
      }}
      options={[
        { value: "auto", words: "Whatever there is" },
        { value: "clips", words: "Recorded words" },
        { value: "browser", words: "The browser’s" },
        { value: "off", words: "Silent" },
      ]}
    />
  );
}
