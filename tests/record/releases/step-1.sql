BEGIN TRANSACTION;
CREATE TABLE entry (
            pos INTEGER PRIMARY KEY AUTOINCREMENT,
            id TEXT NOT NULL UNIQUE CHECK (length(id) = 26),
            job_id TEXT NOT NULL REFERENCES job (id),
            device TEXT NOT NULL,
            seq INTEGER NOT NULL CHECK (seq >= 1),
            person TEXT NOT NULL,
            wall TEXT NOT NULL,
            zone TEXT NOT NULL,
            kind TEXT NOT NULL,
            v INTEGER NOT NULL,
            body TEXT NOT NULL,
            previous TEXT NOT NULL,
            sha TEXT NOT NULL CHECK (length(sha) = 64),
            received TEXT NOT NULL,
            UNIQUE (device, seq)) STRICT;
INSERT INTO "entry" VALUES(1,'01MCC5RM01A144YKJ55MRJTB9D','ALDER-ROW','PHONE-1',1,'R. Invented','2027-04-20T07:15:00-04:00','America/New_York','note',1,'{"text":"first"}','','389e3700eb0cecd1692aca5cac5c4f5d9e0bae50a68fed6c12a1a5c8665f6d9f','2026-11-25T04:35:07.521Z');
INSERT INTO "entry" VALUES(2,'01MCC5RM02A144YKJ55MRJTB9D','ALDER-ROW','PHONE-1',2,'R. Invented','2027-04-20T07:15:00-04:00','America/New_York','conditions',1,'{"air_c":20,"rh":0.62,"slab_c":18.5}','389e3700eb0cecd1692aca5cac5c4f5d9e0bae50a68fed6c12a1a5c8665f6d9f','786bd77335dc624d8a489816a8ea58405cbdd5dd5e8b3491d6590b53a864a99d','2026-11-25T04:35:07.521Z');
INSERT INTO "entry" VALUES(3,'01MCC5RM04A144YKJ55MRJTB9D','ALDER-ROW','PHONE-1',4,'R. Invented','2027-04-20T07:15:00-04:00','America/New_York','note',1,'{"text":"after a held one"}','31f4494040ed30276de75e6342b2d73833769d311c6ee5924bcaa9264d4c557b','be3dcc97e4242952a8ca85c1687976662f996822ead4d32eb4759d180a267d1e','2026-11-25T04:35:07.623Z');
CREATE TABLE held (
            pos INTEGER PRIMARY KEY AUTOINCREMENT,
            id TEXT NOT NULL,
            device TEXT NOT NULL,
            seq INTEGER NOT NULL,
            raw TEXT NOT NULL,
            sha TEXT NOT NULL UNIQUE,
            reason TEXT NOT NULL,
            received TEXT NOT NULL) STRICT;
INSERT INTO "held" VALUES(1,'01MCC5RM03A144YKJ55MRJTB9D','PHONE-1',3,'{"body": {"text": "primer tacky at the drain"}, "device": "PHONE-1", "id": "01MCC5RM03A144YKJ55MRJTB9D", "job": "LATER-JOB", "kind": "note", "person": "R. Invented", "previous": "786bd77335dc624d8a489816a8ea58405cbdd5dd5e8b3491d6590b53a864a99d", "seq": 3, "v": 1, "wall": "2027-04-20T07:15:00-04:00", "zone": "America/New_York"}','764984a9525c88f84b88314108522187f2795719019bdc2e31016604c0cfe724','job: the record does not know the job LATER-JOB.','2026-11-25T04:35:07.606Z');
CREATE TABLE job (id TEXT PRIMARY KEY NOT NULL, made TEXT NOT NULL) STRICT;
INSERT INTO "job" VALUES('ALDER-ROW','2026-11-25T04:35:07.457Z');
CREATE TABLE migration (number INTEGER PRIMARY KEY, name TEXT NOT NULL, ran TEXT NOT NULL) STRICT;
INSERT INTO "migration" VALUES(1,'m0001_revisions_and_entries','2026-11-25T04:35:07.397Z');
CREATE TABLE revision (
            id TEXT PRIMARY KEY NOT NULL CHECK (length(id) = 64),
            job_id TEXT NOT NULL REFERENCES job (id),
            number INTEGER NOT NULL CHECK (number >= 1),
            predecessor TEXT UNIQUE REFERENCES revision (id),
            content_sha TEXT NOT NULL CHECK (length(content_sha) = 64),
            documents TEXT NOT NULL,
            person TEXT NOT NULL,
            made TEXT NOT NULL,
            UNIQUE (job_id, number),
            CHECK ((number = 1) = (predecessor IS NULL))) STRICT;
INSERT INTO "revision" VALUES('3c8d2f07a4e031c48106462e6e660e40772931758dac12eba47853452fad8d6f','ALDER-ROW',1,NULL,'22ccf71ea540d7fdcd81ec0d3cb2ad3afac7503bdf4a98e2c9e6482fbdac87d0','{"job.toml":"id = \"ALDER-ROW\""}','','2026-11-25T04:35:07.471Z');
INSERT INTO "revision" VALUES('d1a3fcc7beda2bdc3dc55e2aec7e2a0c37e5fa031f1971414570dc2290477b41','ALDER-ROW',2,'3c8d2f07a4e031c48106462e6e660e40772931758dac12eba47853452fad8d6f','81402236ca9f4fc61168d1b262ea36b1652849d04f1535534469235edb86ef70','{"job.toml":"id = \"ALDER-ROW\"\nname = \"x\""}','','2026-11-25T04:35:07.485Z');
CREATE INDEX entry_job_pos ON entry (job_id, pos);
CREATE INDEX held_device_seq ON held (device, seq);
CREATE TRIGGER migration_no_update BEFORE UPDATE ON migration BEGIN SELECT RAISE(ABORT, 'migration is append-only'); END;
CREATE TRIGGER migration_no_delete BEFORE DELETE ON migration BEGIN SELECT RAISE(ABORT, 'migration is append-only'); END;
CREATE TRIGGER migration_no_replace BEFORE INSERT ON migration WHEN EXISTS (SELECT 1 FROM migration WHERE (number = NEW.number)) BEGIN SELECT RAISE(ABORT, 'migration is append-only'); END;
CREATE TRIGGER job_no_update BEFORE UPDATE ON job BEGIN SELECT RAISE(ABORT, 'job is append-only'); END;
CREATE TRIGGER job_no_delete BEFORE DELETE ON job BEGIN SELECT RAISE(ABORT, 'job is append-only'); END;
CREATE TRIGGER job_no_replace BEFORE INSERT ON job WHEN EXISTS (SELECT 1 FROM job WHERE (id = NEW.id)) BEGIN SELECT RAISE(ABORT, 'job is append-only'); END;
CREATE TRIGGER revision_no_update BEFORE UPDATE ON revision BEGIN SELECT RAISE(ABORT, 'revision is append-only'); END;
CREATE TRIGGER revision_no_delete BEFORE DELETE ON revision BEGIN SELECT RAISE(ABORT, 'revision is append-only'); END;
CREATE TRIGGER revision_no_replace BEFORE INSERT ON revision WHEN EXISTS (SELECT 1 FROM revision WHERE (id = NEW.id) OR (job_id = NEW.job_id AND number = NEW.number) OR (predecessor = NEW.predecessor)) BEGIN SELECT RAISE(ABORT, 'revision is append-only'); END;
CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'entry is append-only'); END;
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'entry is append-only'); END;
CREATE TRIGGER entry_no_replace BEFORE INSERT ON entry WHEN EXISTS (SELECT 1 FROM entry WHERE (id = NEW.id) OR (pos = NEW.pos) OR (device = NEW.device AND seq = NEW.seq)) BEGIN SELECT RAISE(ABORT, 'entry is append-only'); END;
CREATE TRIGGER held_no_update BEFORE UPDATE ON held BEGIN SELECT RAISE(ABORT, 'held is append-only'); END;
CREATE TRIGGER held_no_delete BEFORE DELETE ON held BEGIN SELECT RAISE(ABORT, 'held is append-only'); END;
CREATE TRIGGER held_no_replace BEFORE INSERT ON held WHEN EXISTS (SELECT 1 FROM held WHERE (sha = NEW.sha) OR (pos = NEW.pos)) BEGIN SELECT RAISE(ABORT, 'held is append-only'); END;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('entry',3);
INSERT INTO "sqlite_sequence" VALUES('held',1);
COMMIT;
