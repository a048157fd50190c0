// The server's messages. Written from crates/spile-page/src/messages.rs; do not edit:
// SPILE_WRITE_TYPES=1 cargo test -p spile-page types

export type ErrorDocument = { 
/**
 * Why.
 */
error: Refusal, };

export type Refusal = { 
/**
 * What is wrong, in lower case, without full stop.
 */
message: string, 
/**
 * What to do next.
 */
hints: Array<string>, 
/**
 * Mistakes in the case's text, if it is that.
 */
places: Array<Mistake>, };

export type Mistake = { 
/**
 * Line, from 1.
 */
line: number, 
/**
 * Column in characters, from 1.
 */
column: number, 
/**
 * What is wrong.
 */
message: string, 
/**
 * What to do next.
 */
hints: Array<string>, };

export type Examined = { 
/**
 * SHA-256 of the file.
 */
sha256: string, 
/**
 * How many triangles it holds.
 */
triangles: number, 
/**
 * How many points.
 */
vertices: number, 
/**
 * The unit that it states, or that its size suggests.
 */
unit_guess: string, 
/**
 * The unit that it states.
 */
unit_stated: string | null, 
/**
 * The box's sides.
 */
size: [number, number, number], 
/**
 * Pieces that hang together.
 */
shells: number, 
/**
 * Whether it has no open edge.
 */
closed: boolean, 
/**
 * Defects, worst effect first.
 */
findings: Array<FindingShown>, 
/**
 * Open ends, the largest first.
 */
ends: Array<FoundEndShown>, };

export type FindingShown = { 
/**
 * What is wrong.
 */
kind: string, 
/**
 * What it does to the job.
 */
effect: string, 
/**
 * The place of the largest.
 */
where: [number, number, number], 
/**
 * How many there are.
 */
count: number, 
/**
 * How far the largest reaches across.
 */
size: number, };

export type FoundEndShown = { 
/**
 * Its middle.
 */
centre: [number, number, number], 
/**
 * Off the scan.
 */
direction: [number, number, number], 
/**
 * Diameter of the bore's rim.
 */
bore: number, 
/**
 * Diameter of the outside's, where there is one.
 */
outside: number | null, };

export type State = { 
/**
 * Rises with every change.
 */
version: number, 
/**
 * The name of the folder that is worked in.
 */
folder: string, 
/**
 * Scans and cases in it.
 */
files: Array<string>, 
/**
 * The scan in hand.
 */
scan: ScanShown | null, 
/**
 * The case in hand.
 */
case: CaseShown | null, 
/**
 * What the making is at.
 */
run: RunShown, 
/**
 * What the last making left.
 */
result: ResultShown | null, 
/**
 * What the one before it in this session left, to stand beside it.
 */
before: ResultShown | null, };

export type ScanShown = { 
/**
 * Which reading it is: another number is another surface.
 */
number: number, 
/**
 * Its file; of two, the inner wall's.
 */
file: string, 
/**
 * Whether its surface can be fetched.
 */
has_surface: boolean, 
/**
 * What was found; none while it is looked at.
 */
examined: Examined | null, 
/**
 * Why it cannot be looked at.
 */
refused: Refusal | null, 
/**
 * What was done to make it, if it is another scan mended.
 */
mended: MendedShown | null, };

export type CaseShown = { 
/**
 * Its file.
 */
file: string, 
/**
 * Whether the file holds this very text.
 */
is_saved: boolean, 
/**
 * The text.
 */
text: string, 
/**
 * What the text says, as plain values; nothing where it is no TOML.
 */
values: unknown, 
/**
 * Why it cannot be run, if it cannot.
 */
refused: Refusal | null, 
/**
 * What undoing takes back, in a few words.
 */
undo: string | null, 
/**
 * What redoing brings again.
 */
redo: string | null, };

export type Edit = { 
/**
 * The keys that lead to the value, lists by number from 0.
 */
path: Array<Step>, 
/**
 * The new value; none takes the key out.
 */
value: unknown, };

export type Step = number | string;

export type Edits = { 
/**
 * What they are, in a few words.
 */
what: string, 
/**
 * The changes, in order.
 */
edits: Array<Edit>, };

export type NewText = { 
/**
 * The whole text.
 */
text: string, };

export type Named = { 
/**
 * Its name.
 */
file: string, };

export type RunShown = { "is": "idle" } | { "is": "running", 
/**
 * Steps begun so far, in order.
 */
steps: Array<StepShown>, 
/**
 * Seconds since it began.
 */
seconds: number, } | { "is": "done", 
/**
 * Seconds that it took.
 */
seconds: number, } | { "is": "stopped" } | { "is": "failed", 
/**
 * Why.
 */
refused: Refusal, };

export type StepShown = { 
/**
 * Its name.
 */
step: string, 
/**
 * The end that it is about.
 */
end: string | null, 
/**
 * Seconds after the beginning.
 */
at_seconds: number, };

export type ResultShown = { 
/**
 * Its folder.
 */
folder: string, 
/**
 * Rises with every result that is read.
 */
number: number, 
/**
 * Whether it was made of the case's text as it stands; none where that is not known.
 */
is_of_this_text: boolean | null, 
/**
 * `held` or `broken`.
 */
verdict: string, 
/**
 * The unit of its lengths.
 */
unit: string, 
/**
 * Limit by limit.
 */
limits: Array<LimitShown>, 
/**
 * Limits that do not hold together.
 */
conflicts: Array<ConflictShown>, 
/**
 * Choices that were made.
 */
notes: Array<string>, 
/**
 * The bore at each end.
 */
ends: Array<EndLine>, 
/**
 * The part; none where none closes.
 */
part: PartShown | null, 
/**
 * Whether its surface can be fetched.
 */
has_surface: boolean, 
/**
 * Whether its maps can be fetched.
 */
has_maps: boolean, 
/**
 * Its files.
 */
files: Array<FileShown>, 
/**
 * What the proof is not about.
 */
caution: string, };

export type LimitShown = { 
/**
 * Its name.
 */
name: string, 
/**
 * The end.
 */
end: string | null, 
/**
 * What was asked.
 */
asked: number | null, 
/**
 * What was measured.
 */
measured: number | null, 
/**
 * The guaranteed bounds.
 */
bounds: [number, number] | null, 
/**
 * The worst place.
 */
where: [number, number, number] | null, 
/**
 * `held`, `broken`, `not judged` or `not asked`.
 */
verdict: string, 
/**
 * How it was measured.
 */
how: string, };

export type ConflictShown = { 
/**
 * Their names.
 */
limits: Array<string>, 
/**
 * The end.
 */
end: string | null, 
/**
 * The place.
 */
where: [number, number, number] | null, 
/**
 * What would hold; each is enough by itself.
 */
would_hold: Array<WantedShown>, 
/**
 * Whether no part at all can hold them together.
 */
certain: boolean, };

export type WantedShown = { 
/**
 * The key in the case file.
 */
key: string, 
/**
 * The value: a number or a point.
 */
value: number | [number, number, number], 
/**
 * How that is known.
 */
known_by: string, };

export type EndLine = { 
/**
 * The end.
 */
name: string, 
/**
 * Its stations, from the scan toward the fitting.
 */
stations: Array<StationShown>, };

export type StationShown = { 
/**
 * Length along the line from the seam, positive toward the fitting.
 */
s: number, 
/**
 * Its middle.
 */
at: [number, number, number], 
/**
 * Unit normal of its plane.
 */
normal: [number, number, number], 
/**
 * Bore area of the scan.
 */
area_scan: number | null, 
/**
 * Bore area of the part.
 */
area_part: number | null, 
/**
 * Diameter of the largest circle inside the part's bore.
 */
inscribed_diameter: number | null, };

export type PartShown = { 
/**
 * Its STL file in the result's folder.
 */
file: string, 
/**
 * How many triangles it holds.
 */
triangles: number, 
/**
 * Its volume.
 */
volume: number, 
/**
 * Scan triangles that are in it bit for bit.
 */
triangles_kept: number, 
/**
 * Scan triangles that others stand in for.
 */
triangles_replaced: number, };

export type FileShown = { 
/**
 * Its path in the result's folder.
 */
name: string, 
/**
 * Its size in bytes.
 */
bytes: number, };

export type SectionShown = { 
/**
 * Closed loops, the nearest to the asked point first.
 */
loops: Array<LoopShown>, };

export type LoopShown = { 
/**
 * Its points in order.
 */
points: Array<[number, number, number]>, 
/**
 * Its area.
 */
area: number, 
/**
 * Its length round.
 */
perimeter: number, 
/**
 * 4 pi area / perimeter^2: 1 for a circle.
 */
roundness: number, 
/**
 * The least and the greatest width: between two parallel lines that touch it.
 */
widths: [number, number], };

export type PlaneAsked = { 
/**
 * A point of it.
 */
through: [number, number, number], 
/**
 * Its normal; any length but 0.
 */
facing: [number, number, number], 
/**
 * What it cuts.
 */
of: Which, };

export type Which = "scan" | "part";

export type LineAsked = { 
/**
 * The middle of an open end.
 */
from: [number, number, number], 
/**
 * Off the scan.
 */
facing: [number, number, number], 
/**
 * Diameter of the bore there, roughly.
 */
bore: number, };

export type LineShown = { 
/**
 * Its points, the one at the end first.
 */
points: Array<LinePoint>, };

export type LinePoint = { 
/**
 * Length along the line, from the end inward.
 */
along: number, 
/**
 * The place.
 */
at: [number, number, number], 
/**
 * Unit tangent, off the scan.
 */
facing: [number, number, number], };

export type ReachAsked = { 
/**
 * A point of the cut's plane; without a direction, near the middle of the rim.
 */
through: [number, number, number], 
/**
 * The plane's normal; none where the end is an open rim.
 */
facing: [number, number, number] | null, 
/**
 * How far.
 */
reach: number, };

export type Painted = { 
/**
 * The number of the keep that they replace, from 0; one more where it is left out.
 */
keep: number | null, 
/**
 * The triangles as the scan counts them, from 0. Without any the keep is taken out.
 */
triangles: Array<number>, };

export type KeepFile = { 
/**
 * SHA-256 of the scan file that was painted, lower-case hexadecimal.
 */
scan_sha256: string, 
/**
 * Its triangles, in the scan's file order from 0.
 */
triangles: Array<number>, };

export type FittingShown = { 
/**
 * As the case has it.
 */
kind: string, 
/**
 * What it is.
 */
shape: string, 
/**
 * Standard sizes, if it has any.
 */
sizes: Array<SizeShown>, 
/**
 * Where its dimensions come from.
 */
source: string, 
/**
 * What they may be taken for.
 */
standing: string, };

export type SizeShown = { 
/**
 * As the case has it.
 */
size: string, 
/**
 * Diameter in the basic plane.
 */
basic_diameter_mm: number, 
/**
 * Length of its taper.
 */
taper_length_mm: number, 
/**
 * Where its dimensions come from.
 */
source: string, 
/**
 * What they may be taken for.
 */
standing: string, };

export type MendedShown = { 
/**
 * The scan that was mended.
 */
of: string, 
/**
 * What was done, in order.
 */
mends: Array<MendShown>, 
/**
 * What could not be done, and why.
 */
refused: Array<MendRefused>, };

export type MendShown = { 
/**
 * What was mended.
 */
kind: string, 
/**
 * The middle of the ball outside which nothing moved.
 */
where: [number, number, number], 
/**
 * The ball's diameter.
 */
size: number, 
/**
 * How far the surface changed there at most, certified.
 */
change: number, };

export type MendRefused = { 
/**
 * What it is.
 */
kind: string, 
/**
 * Where.
 */
where: [number, number, number], 
/**
 * Why.
 */
why: string, };
