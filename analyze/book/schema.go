package book

// migrations bring a book from one version of its schema to the next, in order. The book holds
// nothing of its own, so a version that cannot be reached is made anew instead.
var migrations = []string{`
CREATE TABLE revisions (
	name TEXT PRIMARY KEY, parent TEXT NOT NULL, made TEXT NOT NULL, why TEXT NOT NULL, answers TEXT NOT NULL, place INTEGER NOT NULL
);
CREATE TABLE parts (
	revision TEXT NOT NULL REFERENCES revisions(name) ON DELETE CASCADE, place INTEGER NOT NULL,
	name TEXT NOT NULL, file TEXT NOT NULL, sha256 TEXT NOT NULL, bytes INTEGER NOT NULL, made_of TEXT NOT NULL,
	PRIMARY KEY (revision, place)
);
CREATE INDEX parts_by_hash ON parts(sha256);
CREATE TABLE services (
	id INTEGER PRIMARY KEY, at TEXT NOT NULL, what TEXT NOT NULL, joint TEXT NOT NULL, part TEXT NOT NULL, answers TEXT NOT NULL
);
CREATE TABLE notes (
	id INTEGER PRIMARY KEY, at TEXT NOT NULL, joint TEXT NOT NULL, cause TEXT NOT NULL, state TEXT NOT NULL, part TEXT NOT NULL, text TEXT NOT NULL
);
CREATE TABLE runs (
	id TEXT PRIMARY KEY, number INTEGER NOT NULL, started TEXT NOT NULL, leg TEXT NOT NULL, revision TEXT NOT NULL, routine TEXT NOT NULL,
	assembly TEXT NOT NULL, ended TEXT NOT NULL, whole INTEGER NOT NULL, samples INTEGER NOT NULL, lost INTEGER NOT NULL, judged INTEGER NOT NULL
);
CREATE INDEX runs_by_number ON runs(number);
CREATE INDEX runs_by_revision ON runs(revision);
CREATE TABLE measures (
	run TEXT NOT NULL REFERENCES runs(id) ON DELETE CASCADE, joint TEXT NOT NULL, place INTEGER NOT NULL, name TEXT NOT NULL, path TEXT NOT NULL,
	value REAL, unit TEXT NOT NULL, uncertainty REAL, status TEXT NOT NULL, lim REAL, verdict TEXT NOT NULL, method TEXT NOT NULL, reason TEXT NOT NULL,
	PRIMARY KEY (run, joint, place)
);
CREATE INDEX measures_by_name ON measures(joint, name, path);
CREATE TABLE findings (
	run TEXT NOT NULL REFERENCES runs(id) ON DELETE CASCADE, joint TEXT NOT NULL, place INTEGER NOT NULL, cause TEXT NOT NULL, severity TEXT NOT NULL,
	confidence REAL NOT NULL, part TEXT NOT NULL, evidence TEXT NOT NULL, could_also_be TEXT NOT NULL, next TEXT NOT NULL,
	PRIMARY KEY (run, joint, place)
);
CREATE TABLE problems (
	id INTEGER PRIMARY KEY, joint TEXT NOT NULL, cause TEXT NOT NULL, body TEXT NOT NULL, UNIQUE (joint, cause)
);
`, `
ALTER TABLE runs ADD COLUMN answer TEXT NOT NULL DEFAULT '';
CREATE INDEX runs_by_start ON runs(started);
`, `
ALTER TABLE runs ADD COLUMN setups TEXT NOT NULL DEFAULT '';
ALTER TABLE runs ADD COLUMN bare INTEGER NOT NULL DEFAULT 0;
ALTER TABLE measures ADD COLUMN limit_from TEXT NOT NULL DEFAULT '';
`, `
ALTER TABLE services ADD COLUMN replaced INTEGER NOT NULL DEFAULT 0;
CREATE TABLE setups (id INTEGER PRIMARY KEY, body TEXT NOT NULL UNIQUE);
CREATE TABLE past (
	run TEXT NOT NULL REFERENCES runs(id) ON DELETE CASCADE, joint TEXT NOT NULL, setup INTEGER REFERENCES setups(id),
	sample_hz REAL, supply_v REAL, ambient_c REAL, travel_deg REAL, reversals INTEGER, PRIMARY KEY (joint, run)
);
`, `
ALTER TABLE parts ADD COLUMN modified TEXT NOT NULL DEFAULT '';
ALTER TABLE parts ADD COLUMN made TEXT NOT NULL DEFAULT '';
`, `
ALTER TABLE notes ADD COLUMN path TEXT NOT NULL DEFAULT '';
`, `
ALTER TABLE notes ADD COLUMN run TEXT NOT NULL DEFAULT '';
`, `
DROP TABLE measures;
DROP TABLE findings;
DROP TABLE past;
DROP TABLE runs;
CREATE TABLE runs (
	id TEXT PRIMARY KEY, number INTEGER NOT NULL, started TEXT NOT NULL, leg TEXT NOT NULL, revision TEXT NOT NULL, routine TEXT NOT NULL,
	assembly TEXT NOT NULL, whole INTEGER NOT NULL, bare INTEGER NOT NULL, judged INTEGER NOT NULL, mark TEXT NOT NULL, body BLOB NOT NULL
);
CREATE INDEX runs_by_number ON runs(number);
CREATE INDEX runs_by_revision ON runs(revision);
CREATE INDEX runs_by_start ON runs(started);
CREATE TABLE findings (
	run TEXT NOT NULL REFERENCES runs(id) ON DELETE CASCADE, joint TEXT NOT NULL, place INTEGER NOT NULL, cause TEXT NOT NULL,
	severity TEXT NOT NULL, part TEXT NOT NULL, evidence TEXT NOT NULL, PRIMARY KEY (run, place)
) WITHOUT ROWID;
CREATE INDEX findings_by_joint ON findings(joint, cause);
CREATE TABLE forms (id INTEGER PRIMARY KEY, body TEXT NOT NULL UNIQUE);
CREATE TABLE past (
	joint TEXT NOT NULL, run TEXT NOT NULL REFERENCES runs(id) ON DELETE CASCADE, place INTEGER NOT NULL, answered INTEGER NOT NULL,
	body BLOB NOT NULL, PRIMARY KEY (joint, run)
) WITHOUT ROWID;
CREATE INDEX past_by_run ON past(run);
`}
