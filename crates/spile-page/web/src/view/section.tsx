// A section of the column: a heading, sentences, and what is wrong with them.

import type { ComponentChildren } from "preact";

import type { Mistake, Refusal } from "../api/messages";
import { tableOfLine } from "../state/values";
import type { Acts, Topic } from "../ui/acts";

interface SectionProps {
  acts: Acts;
  topic: Topic;
  title: string;
  children: ComponentChildren;
}

/** The tables of the case file that a section edits. */
const TABLES: Record<Topic, string[]> = {
  scan: ["", "scan", "mend"],
  ends: ["end", "joint", "clear"],
  limits: ["limits"],
  keeps: ["keep"],
  part: ["output"],
  proof: [],
};

export function Section({ acts, topic, title, children }: SectionProps) {
  const { state } = acts;
  const refused = state.case?.refused;
  const own = refused?.places.filter((place) => {
    const table = tableOfLine(state.case?.text ?? "", place.line);
    // What is wrong with an end is told in its own place.
    return !table.startsWith("end ") && TABLES[topic].includes(table.split(" ")[0] ?? "");
  });
  return (
    <section
      aria-labelledby={`head-${topic}`}
      class={acts.topic === topic ? "in-hand" : ""}
      onFocusCapture={() => acts.take(topic)}
      onPointerDown={() => acts.take(topic)}
    >
      <h2 id={`head-${topic}`}>{title}</h2>
      {children}
      <Mistakes places={own ?? []} />
    </section>
  );
}

/** What is wrong, in the reader's words. */
export function Mistakes({ places }: { places: Mistake[] }) {
  return (
    <>
      {places.map((place) => (
        <p role="alert" class="wrong" key={`${place.line}.${place.column}`}>
          {place.message}
          {place.hints.map((hint) => <small key={hint}>{hint}</small>)}
        </p>
      ))}
    </>
  );
}

/** Why something was refused. */
export function Refused({ refusal }: { refusal: Refusal }) {
  return (
    <div role="alert" class="wrong">
      <p>{refusal.message}</p>
      {refusal.places.map((p) => (
        <p key={`${p.line}.${p.column}`}>line {p.line}: {p.message}{p.hints.map((h) => <small key={h}>{h}</small>)}</p>
      ))}
      {refusal.hints.map((hint) => <small key={hint}>{hint}</small>)}
    </div>
  );
}
