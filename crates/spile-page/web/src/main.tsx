// The page: a column of sentences, the picture beside it, the strip under both.

import { render } from "preact";
import { useCallback, useEffect, useLayoutEffect, useMemo, useState } from "preact/hooks";

import { awaited } from "./api/awaited";
import type { State } from "./api/messages";
import * as server from "./api/server";
import { serveTrees } from "./scene/trees";
import { told, tripleAt } from "./state/values";
import { type Acts, FIRST_VIEW, type Topic, type View } from "./ui/acts";
import { EndsSection } from "./view/ends";
import { KeepsSection } from "./view/keeps";
import { LimitsSection } from "./view/limits";
import { PartSection } from "./view/part";
import { Picture } from "./view/picture";
import { ProofSection } from "./view/proof";
import { ScanSection } from "./view/scan";
import { Refused } from "./view/section";
import { Strip } from "./view/strip";
import { CaseText } from "./view/text";
import "./page.css";

function Page() {
  const [state, setState] = useState<State | null>(null);
  const [said, setSaid] = useState<server.Refused | null>(null);
  const [isLost, setLost] = useState(false);
  const [view, setView] = useState<View>(FIRST_VIEW);
  const [topic, setTopic] = useState<Topic>("scan");
  const take = useCallback((to: Topic) => {
    setTopic(to);
    // Painting ends with its section.
    if (to !== "keeps") setView((now) => (now.brush ? { ...now, brush: null } : now));
  }, []);
  const show = useCallback((change: Partial<View>) => setView((now) => ({ ...now, ...change })), []);

  const refresh = useCallback(
    // Answers may overtake each other: an older one changes nothing.
    () => server.state().then(
      (next) => setState((now) => (now && now.version > next.version ? now : next)),
      () => setLost(true),
    ),
    [],
  );
  const ask = useCallback((asked: () => Promise<unknown>) => {
    setSaid(null);
    const told = async () => {
      try {
        await asked();
      } catch (error) {
        if (!(error instanceof server.Refused)) throw error;
        setSaid(error);
      }
      await refresh();
    };
    return awaited(told());
  }, []);
  useLayoutEffect(() => {
    // For a script that drives the page: which state it sees.
    document.documentElement.dataset.version = String(state?.version ?? 0);
  }, [state]);
  useEffect(() => server.onChange(() => void refresh(), setLost), []);
  const isRunning = state?.run.is === "running";
  useEffect(() => {
    // The server tells steps, not seconds.
    if (!isRunning) return;
    const clock = setInterval(() => void refresh(), 1000);
    return () => clearInterval(clock);
  }, [isRunning]);
  const number = state?.result?.number;
  useEffect(() => show({ blend: number ? 1 : 0 }), [number]);
  // Places of another scan are not places of this one.
  useEffect(() => show({ ring: [], outline: null }), [state?.scan?.file]);
  // What was being slid is in the case now, or was taken back.
  useEffect(() => show({ draft: null }), [state?.case?.text]);
  useEffect(() => dropped(ask), [ask]);
  useEffect(() => keys(ask), [ask]);
  const acts = useMemo<Acts | null>(() => {
    if (!state) return null;
    const change: Acts["change"] = (what, edits) => ask(() => server.edit(what, edits));
    return {
      state, view, show, ask, topic, take, change,
      set: (way, value) => change(told(way), [{ path: way, value: value ?? null }]),
      setOne: (way, k, value) =>
        tripleAt(state.case?.values, way)
          ? change(told(way), [{ path: [...way, k], value }])
          : change(told(way), [{ path: way, value: [0, 0, 0].with(k, value) }]),
      fly: (at, size, normal) => show({ look: { at, size, normal } }),
      point: (at, size, label) => show({ ring: [{ at, size, label }], outline: null }),
    };
  }, [state, topic, view, ask]);
  if (!acts || !state) return <p class="waiting">Waiting for spile…</p>;
  return (
    <>
      <header>
        <h1>spile</h1>
        <span>{state.case?.file ?? state.folder}</span>
        <Undo acts={acts} />
      </header>
      {isLost && <p role="alert" class="wrong">spile does not answer any more. What was saved is in the folder {state.folder}.</p>}
      <main>
        <div class="column">
          {said && <Refused refusal={said.refusal} />}
          <ScanSection acts={acts} />
          <EndsSection acts={acts} />
          <LimitsSection acts={acts} />
          <KeepsSection acts={acts} />
          <PartSection acts={acts} />
          <ProofSection acts={acts} />
          <CaseText acts={acts} />
        </div>
        <Picture acts={acts} />
      </main>
      <Strip acts={acts} />
    </>
  );
}

function Undo({ acts }: { acts: Acts }) {
  const { state, ask } = acts;
  const { undo, redo, is_saved } = state.case ?? { undo: null, redo: null, is_saved: true };
  return (
    <div class="acts">
      <button type="button" disabled={!undo} onClick={() => ask(server.undo)}>Undo{undo && `: ${undo}`}</button>
      <button type="button" disabled={!redo} onClick={() => ask(server.redo)}>Redo{redo && `: ${redo}`}</button>
      <button type="button" disabled={is_saved} onClick={() => ask(server.save)}>{is_saved ? "Saved" : "Save the case"}</button>
      <button type="button" onClick={() => ask(server.end)}>End spile</button>
    </div>
  );
}

/** A file that is dropped anywhere is handed over. */
function dropped(ask: Acts["ask"]): () => void {
  const over = (event: DragEvent) => event.preventDefault();
  const drop = (event: DragEvent) => {
    event.preventDefault();
    const file = event.dataTransfer?.files[0];
    if (file) ask(() => server.take(file));
  };
  addEventListener("dragover", over);
  addEventListener("drop", drop);
  return () => {
    removeEventListener("dragover", over);
    removeEventListener("drop", drop);
  };
}

/** Ctrl-Z and its like, where no text is being edited. */
function keys(ask: Acts["ask"]): () => void {
  const pressed = (event: KeyboardEvent) => {
    const isText = event.target instanceof HTMLInputElement || event.target instanceof HTMLTextAreaElement;
    if (isText || !(event.ctrlKey || event.metaKey)) return;
    const key = event.key.toLowerCase();
    const asked = key === "y" || (key === "z" && event.shiftKey) ? server.redo : key === "z" ? server.undo : key === "s" ? server.save : null;
    if (!asked) return;
    event.preventDefault();
    ask(asked);
  };
  addEventListener("keydown", pressed);
  return () => removeEventListener("keydown", pressed);
}

// Without a document this is the page's worker.
const host = globalThis.document?.getElementById("page");
if (host) {
  host.replaceChildren();
  render(<Page />, host);
} else serveTrees();
