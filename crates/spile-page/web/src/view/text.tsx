// The case file itself: to read, and to edit what has no sentence of its own.

import { useEffect, useState } from "preact/hooks";

import * as server from "../api/server";
import type { Acts } from "../ui/acts";
import { Refused } from "./section";

export function CaseText({ acts }: { acts: Acts }) {
  const { state, ask } = acts;
  const text = state.case?.text ?? "";
  // What is being typed, and the text that it began with.
  const [draft, setDraft] = useState<{ text: string; of: string } | null>(null);
  const shown = draft?.text ?? text;
  useEffect(() => {
    if (draft?.text === text) setDraft(null);
  }, [text]);
  if (!state.case) return null;
  return (
    <section aria-labelledby="head-text">
      <details>
        <summary id="head-text">The case file, {state.case.file}{state.case.is_saved ? "" : ", not saved yet"}</summary>
        <textarea
          aria-label="text of the case file"
          spellcheck={false}
          rows={Math.min(40, shown.split("\n").length + 1)}
          value={shown}
          onInput={(event) => setDraft({ text: event.currentTarget.value, of: draft?.of ?? text })}
        />
        <p>
          <button type="button" disabled={shown === text} onClick={() => ask(() => server.setText(shown))}>Take this text</button>{" "}
          <button type="button" disabled={!draft} onClick={() => setDraft(null)}>Put the old one back</button>
        </p>
        {draft && draft.of !== text && <p class="doubt" role="status">The case was changed meanwhile; taking this text takes that back.</p>}
        {state.case.refused && <Refused refusal={state.case.refused} />}
      </details>
    </section>
  );
}
