// Numbers and choices inside sentences.

import { useEffect, useState } from "preact/hooks";

import { digits, typed } from "./format";

interface NumberField {
  /** What the number is, for who does not see the sentence. */
  label: string;
  value: number | undefined;
  unit?: string;
  /** Shown is the value times this; 100 for a share in per cent. */
  scale?: number;
  onSet: (value: number) => void;
}

/** A number to edit; it is taken when left or on Enter. Arrow keys step it. */
export function Num({ label, value, unit, scale = 1, onSet }: NumberField) {
  const shown = value === undefined ? "" : String(Number((value * scale).toPrecision(12)));
  const [draft, setDraft] = useState(shown);
  const [isWrong, setWrong] = useState(false);
  useEffect(() => {
    setDraft(shown);
    setWrong(false);
  }, [shown]);
  const take = (text: string) => {
    const x = typed(text);
    setWrong(x === undefined);
    if (x !== undefined && text !== shown) onSet(Number((x / scale).toPrecision(12)));
  };
  const step = (by: number) => {
    const x = typed(draft) ?? 0;
    const size = x === 0 ? 1 : 10 ** Math.floor(Math.log10(Math.abs(x)) - 0.3);
    const next = digits(x + by * size);
    setDraft(next);
    take(next);
  };
  return (
    <span class="number">
      <input
        type="text"
        inputMode="decimal"
        autocomplete="off"
        aria-label={unit ? `${label}, ${unit}` : label}
        aria-invalid={isWrong}
        size={Math.max(3, Math.min(9, draft.length))}
        value={draft}
        onInput={(event) => setDraft(event.currentTarget.value)}
        onBlur={(event) => take(event.currentTarget.value)}
        onKeyDown={(event) => {
          if (event.key === "Enter") take(event.currentTarget.value);
          if (event.key === "ArrowUp" || event.key === "ArrowDown") {
            event.preventDefault();
            step(event.key === "ArrowUp" ? 1 : -1);
          }
        }}
      />
      {unit && <span aria-hidden="true">{"\u00a0" + unit}</span>}
      {isWrong && <span role="alert"> this is no number</span>}
    </span>
  );
}

interface TripleField {
  label: string;
  value: [number, number, number] | undefined;
  onSet: (value: [number, number, number]) => void;
}

/** Three coordinates to edit. */
export function Triple({ label, value, onSet }: TripleField) {
  const now = value ?? [0, 0, 0];
  return (
    <span class="triple" role="group" aria-label={label}>
      {([0, 1, 2] as const).map((k) => (
        <Num
          key={k}
          label={`${label}, ${"xyz"[k]}`}
          value={now[k]}
          onSet={(x) => onSet(now.with(k, x) as [number, number, number])}
        />
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
