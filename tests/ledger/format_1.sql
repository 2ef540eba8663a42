-- The tables of format 1, as the version before the chain made them.
CREATE TABLE "case" (
	id TEXT NOT NULL,
	opened_at TEXT NOT NULL,
	source TEXT NOT NULL,
	kit_title TEXT NOT NULL,
	kit_hash TEXT NOT NULL,
	kit_text TEXT NOT NULL,
	PRIMARY KEY (id)
)
 WITHOUT ROWID
;
CREATE TABLE entry (
	case_id TEXT NOT NULL,
	seq INTEGER NOT NULL,
	at TEXT NOT NULL,
	kind TEXT NOT NULL,
	body TEXT NOT NULL,
	PRIMARY KEY (case_id, seq),
	FOREIGN KEY(case_id) REFERENCES "case" (id)
)
 WITHOUT ROWID
;
CREATE TRIGGER entry_in_order BEFORE INSERT ON entry
    WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entry WHERE case_id = NEW.case_id)
    BEGIN SELECT RAISE(ABORT, 'entries are numbered from 1 without gaps'); END;
CREATE TRIGGER entry_kind BEFORE INSERT ON entry
    WHEN NEW.kind NOT IN ('event', 'decision', 'note')
    BEGIN SELECT RAISE(ABORT, 'an entry is an event, a decision or a note'); END;
CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry
    BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END;
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
    BEGIN SELECT RAISE(ABORT, 'entries are never removed'); END;
CREATE TRIGGER case_opened_once BEFORE INSERT ON "case"
    WHEN EXISTS (SELECT 1 FROM "case" WHERE id = NEW.id)
    BEGIN SELECT RAISE(ABORT, 'a case is opened once'); END;
CREATE TRIGGER case_no_update BEFORE UPDATE ON "case"
    BEGIN SELECT RAISE(ABORT, 'cases are never changed'); END;
CREATE TRIGGER case_no_delete BEFORE DELETE ON "case"
    BEGIN SELECT RAISE(ABORT, 'cases are never removed'); END;
PRAGMA application_id = 0x43534C47;
PRAGMA user_version = 1;
