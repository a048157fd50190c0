// Numbers, words and choices inside sentences.

import { useEffect, useRef, useState } from "preact/hooks";

import { digits, typed } from "./format";

/** Settles once what was typed is in the state, or was refused. */
type Settled = Promise<void>;

/**
 * What is being typed in a field: nothing that the server tells meanwhile overwrites it.
 * It is handed over when left or on Enter, stays until that has come back, and then the
 * field shows what the case has. `take` gives null where the text means nothing.
 */
function useDraft(shown: string, take: (text: string) => Settled | null) {
  const field = useRef<HTMLInputElement>(null);
  const [draft, setDraft] = useState<string | null>(null);
  const [isWrong, setWrong] = useState(false);
  const sent = useRef<string | null>(null);
  useEffect(() => {
    // What was typed wrong and left goes when there is a new value.
    if (sent.current !== null || document.activeElement === field.current) return;
    setDraft(null);
    setWrong(false);
  }, [shown]);
  const drop = () => {
    setDraft(null);
    setWrong(false);
  };
  const hand = (text: string) => {
    if (text === sent.current) return;
    if (text === shown && sent.current === null) return drop();
    const done = take(text);
    setWrong(done === null);
    if (!done) return setDraft(text);
    setDraft(text);
    sent.current = text;
    void done.then(() => {
      if (sent.current !== text) return;
      sent.current = null;
      setDraft((now) => (now === text ? null : now));
    });
  };
  return {
    text: draft ?? shown,
    isWrong,
    hand,
    drop,
    props: {
      ref: field,
      type: "text",
      autocomplete: "off",
      "aria-invalid": isWrong,
      value: draft ?? shown,
      onInput: (event: { currentTarget: HTMLInputElement }) => setDraft(event.currentTarget.value),
      onBlur: (event: { currentTarget: HTMLInputElement }) => hand(event.currentTarget.value),
    },
  };
}

interface NumberField {
  /** What the number is, for who does not see the sentence. */
  label: string;
  value: number | undefined;
  unit?: string;
  /** Shown is the value times this; 100 for a share in per cent. */
  scale?: number;
  onSet: (value: number) => Settled;
}

/** A number to edit; it is taken when left or on Enter. Arrow keys step it, Escape gives up. */
export function Num({ label, value, unit, scale = 1, onSet }: NumberField) {
  const shown = value === undefined ? "" : String(Number((value * scale).toPrecision(12)));
  const draft = useDraft(shown, (text) => {
    const x = typed(text);
    return x === undefined ? null : onSet(Number((x / scale).toPrecision(12)));
  });
  const step = (by: number) => {
    const x = typed(draft.text) ?? 0;
    const size = x === 0 ? 1 : 10 ** Math.floor(Math.log10(Math.abs(x)) - 0.3);
    draft.hand(digits(x + by * size));
  };
  return (
    <span class="number">
      <input
        {...draft.props}
        inputMode="decimal"
        aria-label={unit ? `${label}, ${unit}` : label}
        size={Math.max(3, Math.min(9, draft.text.length))}
        onKeyDown={(event) => {
          if (event.key === "Enter") draft.hand(event.currentTarget.value);
          if (event.key === "Escape") draft.drop();
          if (event.key === "ArrowUp" || event.key === "ArrowDown") {
            event.preventDefault();
            step(event.key === "ArrowUp" ? 1 : -1);
          }
        }}
      />
      {unit && <span aria-hidden="true">{"\u00a0" + unit}</span>}
      {draft.isWrong && <span role="alert"> this is no number</span>}
    </span>
  );
}

interface WordField {
  label: string;
  value: string;
  onSet: (value: string) => Settled;
}

/** A word to edit, as numbers are. */
export function Words({ label, value, onSet }: WordField) {
  const draft = useDraft(value, (text) => (text.trim() === "" ? null : onSet(text.trim())));
  return (
    <input
      {...draft.props}
      aria-label={label}
      size={Math.max(6, draft.text.length)}
      onKeyDown={(event) => {
        if (event.key === "Enter") draft.hand(event.currentTarget.value);
        if (event.key === "Escape") draft.drop();
      }}
    />
  );
}

interface TripleField {
  label: string;
  value: [number, number, number] | undefined;
  /** Sets one coordinate: two that are typed quickly must not take each other back. */
  onSet: (k: 0 | 1 | 2, value: number) => Settled;
}

/** Three coordinates to edit. */
export function Triple({ label, value, onSet }: TripleField) {
  return (
    <span class="triple" role="group" aria-label={label}>
      {([0, 1, 2] as const).map((k) => (
        <Num key={k} label={`${label}, ${"xyz"[k]}`} value={value?.[k]} onSet={(x) => onSet(k, x)} />
      ))}
    </span>
  );
}

interface ChoiceField<T extends string> {
  label: string;
  value: T;
  options: readonly (readonly [T, string])[];
  onSet: (value: T) => void;
}

/** One of a few words. */
export function Choice<T extends string>({ label, value, options, onSet }: ChoiceField<T>) {
  return (
    <select
      aria-label={label}
      value={value}
      onChange={(event) => onSet(event.currentTarget.value as T)}
    >
      {options.map(([word, told]) => (
        <option key={word} value={word} selected={word === value}>{told}</option>
      ))}
    </select>
  );
}
