// The case file itself: to read, and to edit what has no sentence of its own.

import { useEffect, useState } from "preact/hooks";

import * as server from "../api/server";
import type { Acts } from "../ui/acts";
import { Refused } from "./section";

export function CaseText({ acts }: { acts: Acts }) {
  const { state, ask } = acts;
  const text = state.case?.text ?? "";
  const [draft, setDraft] = useState(text);
  useEffect(() => setDraft(text), [text]);
  if (!state.case) return null;
  return (
    <section aria-labelledby="head-text">
      <details>
        <summary id="head-text">The case file, {state.case.file}{state.case.is_saved ? "" : ", not saved yet"}</summary>
        <textarea
          aria-label="text of the case file"
          spellcheck={false}
          rows={Math.min(40, draft.split("\n").length + 1)}
          value={draft}
          onInput={(event) => setDraft(event.currentTarget.value)}
        />
        <p>
          <button type="button" disabled={draft === text} onClick={() => ask(() => server.setText(draft))}>Take this text</button>{" "}
          <button type="button" disabled={draft === text} onClick={() => setDraft(text)}>Put the old one back</button>
        </p>
        {state.case.refused && <Refused refusal={state.case.refused} />}
      </details>
    </section>
  );
}
