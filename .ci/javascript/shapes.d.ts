// What the API sends, as far as the plain modules of the pages read it. tests/web/test_shapes.py holds
// every field to the API's own description.

type Athlete = "A" | "B";
type Names = { [athlete: string]: string };

interface Interval { start_s: number; end_s: number }

interface State { position: string; upper: Athlete | null }

interface Hold extends Interval, State { id: string; confidence: number; edited: boolean }

interface MatchEventShape { event: string; time_s: number; athlete: Athlete | null; confidence: number; by_person: boolean }

interface Award { athlete: Athlete | null; kind: string; points: number; advantage: number; time_s: number }

interface Step { words: string; position: string | null; confidence: number | null }

interface Criterion { name: string; met: boolean | null; seen: string; how_seen: string; probability: number }

interface Decision { verdict: "confirmed" | "changed" | "dismissed" | "added"; by: string; reason: string }

interface Proposal extends Award {
  id: string;
  start_s: number;
  look_s: number;
  path: Step[];
  on_the_way: MatchEventShape[];
  criteria: Criterion[];
  added: boolean;
  still_proposed: boolean;
  confidence: number;
  would_be: string | null;
  decision: Decision | null;
  behind_end: boolean;
  not_looked_at: number;
  checked: number;
  decided_award: Award | null;
}

interface Finding extends Interval { kind: string; message: string }

interface Review { holds: Hold[]; proposals: Proposal[]; findings: Finding[] }

interface TrackAbout { url: string; n_rows: number; chunk_rows: number; first_frames: number[] }

interface Run { ahead: number; rate: number | null; progress: number; stage: string; state: string; message: string; remaining_s: number | null }

interface Standing { doubt: string; waiting: number; total: number; trouble: string }

interface Row { stage: string; run: Run | null; standing: Standing | null; division: { [name: string]: string } | null; match_time_s: number | null; held_on: string | null; duration_s: number | null; source: Source | null }

interface Source { made_on: string | null }

interface Settled { by: string; taken_from: string | null }

interface LineDifference { line: string; one_key: string; other_key: string; time_s: number; what: string; one: string | null; other: string | null; settled: Settled | null }

interface StretchDifference extends Interval { one: State; other: State; settled: Settled | null }
