// Devices beside the bench's own screen: shown here alone, and only when the program was started
// with --lan.
import { useState } from "preact/hooks";
import { ApiError, request } from "../api";
import { refresh, useResource } from "../store";
import type { Fault } from "../types";
import { Button } from "../ui/controls";
import { From, Problem } from "../ui/frame";

interface Pairing {
  lan: boolean;
  code?: string;
  address?: string | null;
  fingerprint?: string;
  devices?: number;
  locked_s?: number;
}

export function Devices() {
  const pairing = useResource<Pairing>("/api/pairing");
  return (
    <From of={pairing} lines={2}>
      {(now) =>
        now.lan ? (
          <Open now={now} />
        ) : (
          <p class="dim">
            This bench answers on this computer alone. gridleak bench --lan lets a tablet join, with
            a code from this screen.
          </p>
        )
      }
    </From>
  );
}

function Open({ now }: { now: Pairing }) {
  const [faults, setFaults] = useState<Fault[] | null>(null);
  async function renew(forget: boolean): Promise<void> {
    try {
      await request<Pairing>("/api/pairing", { method: "POST", body: { forget } });
      setFaults(null);
      refresh((path) => path === "/api/pairing");
    } catch (error) {
      setFaults((error as ApiError).faults);
    }
  }
  return (
    <div class="devices">
      <img
        src={`/api/pairing.svg?${now.code}`}
        alt="The address and the code as QR"
        width="200"
        height="200"
      />
      <div>
        <p>
          On the tablet, open <strong>{now.address}</strong> and give the code
        </p>
        <p class="figure">{now.code}</p>
        <p class="dim">
          The tablet warns of a certificate that it does not know. It is this one: {now.fingerprint}
          . A paired device can read and change everything on this bench: owners, jobs, photos.
        </p>
        {now.locked_s ? (
          <p class="hazard-word">Wrong codes came in: closed for {now.locked_s} s.</p>
        ) : null}
        <p>{now.devices === 1 ? "1 device is paired." : `${now.devices} devices are paired.`}</p>
        <Problem faults={faults} />
        <div class="row">
          <Button onClick={() => void renew(false)}>A new code</Button>
          <Button kind="hazard" onClick={() => void renew(true)}>
            Forget all devices
          </Button>
        </div>
      </div>
    </div>
  );
}
