BEGIN TRANSACTION;
CREATE TABLE contents (
            digest TEXT PRIMARY KEY, bytes INTEGER NOT NULL, place TEXT NOT NULL CHECK (place IN ('database', 'folder')),
            data BLOB, CHECK ((place = 'database') = (data IS NOT NULL)));
INSERT INTO "contents" VALUES('7692c3ad3540bb803c020b3aee66cd8887123234ea0c6e7143c0add73ff431ed',3,'database',X'6F6E65');
INSERT INTO "contents" VALUES('3fc4ccfe745870e2c0d99f71f30ff0656c8dedd41cc1d7d3d376b0dbe685e2f3',3,'database',X'74776F');
CREATE TABLE entries (
            site TEXT NOT NULL REFERENCES sites (site), number INTEGER NOT NULL CHECK (number > 0), previous TEXT NOT NULL,
            time TEXT NOT NULL, author TEXT NOT NULL, program TEXT NOT NULL, kind TEXT NOT NULL, body TEXT NOT NULL,
            digest TEXT NOT NULL, key TEXT NOT NULL, PRIMARY KEY (site, number), UNIQUE (site, kind, key));
INSERT INTO "entries" VALUES('S1',1,'0000000000000000000000000000000000000000000000000000000000000000','2026-05-04T08:00:00Z','K. Ode','upmast 0.1.0','photo','{"content":"7692c3ad3540bb803c020b3aee66cd8887123234ea0c6e7143c0add73ff431ed","looks":"jpeg","name":"top.jpg","shows":"sealed joint","subject":"A2-J1"}','01708900257d6d0c4a1245080a7367ae5fbc21b38bdfab84fe5c18be85724d9e','9d6f310efd0da7c92cf07acdc650acc913ccfb357f7ddb2a26afc35174ad9013');
INSERT INTO "entries" VALUES('S1',2,'01708900257d6d0c4a1245080a7367ae5fbc21b38bdfab84fe5c18be85724d9e','2026-05-04T08:00:00Z','K. Ode','upmast 0.1.0','measurement','{"content":"3fc4ccfe745870e2c0d99f71f30ff0656c8dedd41cc1d7d3d376b0dbe685e2f3","evidence":"A","name":"sweep.s1p","reader":"touchstone","samples":"3fc4ccfe745870e2c0d99f71f30ff0656c8dedd41cc1d7d3d376b0dbe685e2f3","sort":"rf.sweep"}','3c3465d1eadc68cdce1b26090a47372e944df80db59f5c15347f695abfc995b8','2bcd2269868b0ad137c205c2410182355ac49566550e722c2dd592b6d32321cd');
INSERT INTO "entries" VALUES('S1',3,'3c3465d1eadc68cdce1b26090a47372e944df80db59f5c15347f695abfc995b8','2026-05-04T08:00:00Z','K. Ode','upmast 0.1.0','verdict','{"findings":[{"code":"rf.sweep-return-loss","margin":3.3000000000000007,"subject":"A2-J1.rl.load","unit":"dB","value":21.0,"verdict":"passes"}],"inputs":"3fc4ccfe745870e2c0d99f71f30ff0656c8dedd41cc1d7d3d376b0dbe685e2f3","line":"1111111111111111111111111111111111111111111111111111111111111111","measurement":"2bcd2269868b0ad137c205c2410182355ac49566550e722c2dd592b6d32321cd","program":"upmast 0.1","rules":"rules 1","test":"A2-J1.rl.load","verdict":"passes"}','bea8dccaa116e1774bb0d875e74e428376254091a3047b8f39c385241839aeb8','00f8656075469174f0d26992425f238f53213f23a3a2c8df4bd95279b3a0ba95');
CREATE TABLE handles (
            name TEXT NOT NULL, value TEXT NOT NULL, site TEXT NOT NULL, number INTEGER NOT NULL,
            PRIMARY KEY (name, value, site, number)) WITHOUT ROWID;
INSERT INTO "handles" VALUES('content','3fc4ccfe745870e2c0d99f71f30ff0656c8dedd41cc1d7d3d376b0dbe685e2f3','S1',2);
INSERT INTO "handles" VALUES('content','7692c3ad3540bb803c020b3aee66cd8887123234ea0c6e7143c0add73ff431ed','S1',1);
INSERT INTO "handles" VALUES('item','A2-J1','S1',1);
INSERT INTO "handles" VALUES('item','A2-J1','S1',3);
INSERT INTO "handles" VALUES('measurement','2bcd2269868b0ad137c205c2410182355ac49566550e722c2dd592b6d32321cd','S1',3);
CREATE TABLE record_steps (step INTEGER PRIMARY KEY, time TEXT NOT NULL, program TEXT NOT NULL);
INSERT INTO "record_steps" VALUES(1,'2026-05-04T08:00:00Z','upmast 0.1.0');
CREATE TABLE sites (site TEXT PRIMARY KEY, entries INTEGER NOT NULL, head TEXT NOT NULL) WITHOUT ROWID;
INSERT INTO "sites" VALUES('S1',3,'bea8dccaa116e1774bb0d875e74e428376254091a3047b8f39c385241839aeb8');
CREATE TABLE verdicts (
            site TEXT NOT NULL, number INTEGER NOT NULL, item TEXT NOT NULL, test TEXT NOT NULL, measurement TEXT NOT NULL,
            line TEXT NOT NULL, verdict TEXT NOT NULL, code TEXT NOT NULL, value REAL, unit TEXT NOT NULL,
            limit_value REAL, margin REAL, rules TEXT NOT NULL, program TEXT NOT NULL, time TEXT NOT NULL,
            PRIMARY KEY (site, number)) WITHOUT ROWID;
INSERT INTO "verdicts" VALUES('S1',3,'A2-J1','A2-J1.rl.load','2bcd2269868b0ad137c205c2410182355ac49566550e722c2dd592b6d32321cd','1111111111111111111111111111111111111111111111111111111111111111','passes','rf.sweep-return-loss',21.0,'dB',NULL,3.30000000000000071054e+00,'rules 1','upmast 0.1','2026-05-04T08:00:00Z');
CREATE INDEX verdicts_by_item ON verdicts (site, item, number);
COMMIT;
