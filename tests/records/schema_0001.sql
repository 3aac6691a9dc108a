-- A workspace of schema 0001 as the kit wrote it on 2026-11-25; invented data.
BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE bake (
	id TEXT NOT NULL, 
	trial_id TEXT NOT NULL, 
	position INTEGER NOT NULL, 
	code TEXT NOT NULL, 
	day DATE, 
	zone TEXT NOT NULL, 
	flour_lot_id TEXT, 
	yeast_lot_id TEXT, 
	note TEXT NOT NULL, 
	deleted TEXT, 
	CONSTRAINT pk_bake PRIMARY KEY (id), 
	CONSTRAINT fk_bake_trial_id FOREIGN KEY(trial_id) REFERENCES trial (id), 
	CONSTRAINT fk_bake_flour_lot_id FOREIGN KEY(flour_lot_id) REFERENCES lot (id), 
	CONSTRAINT fk_bake_yeast_lot_id FOREIGN KEY(yeast_lot_id) REFERENCES lot (id)
);
INSERT INTO "bake" VALUES('01a21413026a7d099fa18857ee036e05','01a21413022d7caf882e811e0107a574',1,'1','2026-11-26','Europe/Berlin','01a21413026472f3a426f42beb86a692','01a2141302657845926e95f42e70fb82','',NULL);
INSERT INTO "bake" VALUES('01a2141303317872825105914578acad','01a21413022d7caf882e811e0107a574',2,'2','2026-12-03','Europe/Berlin','01a21413033072d6ad355d7e6b13b165','01a2141302657845926e95f42e70fb82','',NULL);
CREATE TABLE change (
	seq INTEGER NOT NULL, 
	step TEXT NOT NULL, 
	at TEXT NOT NULL, 
	who TEXT NOT NULL, 
	says TEXT, 
	"table" TEXT NOT NULL, 
	row_id TEXT NOT NULL, 
	what TEXT NOT NULL, 
	"before" JSON, 
	"after" JSON, 
	undone TEXT, 
	CONSTRAINT pk_change PRIMARY KEY (seq)
);
INSERT INTO "change" VALUES(1,'01a2141302347435a5659436e20a5f05','2026-11-25T18:58:39.786667+00:00','Ida','malt: trial begun','trial','01a21413022d7caf882e811e0107a574','add',NULL,'{"name": "malt", "question": "Does more malt make a taller muffin?", "baker": "harbour caf\u00e9 (invented)", "outcome": "rise_height_mm", "matters": 2.0, "zone": "Europe/Berlin", "invented": true, "formula_id": null, "created": "2026-11-25T18:58:39.786667+00:00", "id": "01a21413022d7caf882e811e0107a574"}',NULL);
INSERT INTO "change" VALUES(2,'01a2141302347435a5659436e20a5f05','2026-11-25T18:58:39.786667+00:00','Ida',NULL,'factor','01a21413023377f58aedc6328cd2ca85','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "position": 1, "quantity": "malt_percent", "settings": [0.0, 0.8], "id": "01a21413023377f58aedc6328cd2ca85"}',NULL);
INSERT INTO "change" VALUES(3,'01a2141302507413a502d227e4d7acea','2026-11-25T18:58:39.806603+00:00','Ida','malt: formula griddle muffin set','formula','01a21413023f765ab436b42a2e7356b8','add',NULL,'{"name": "griddle muffin", "note": "", "id": "01a21413023f765ab436b42a2e7356b8"}',NULL);
INSERT INTO "change" VALUES(4,'01a2141302507413a502d227e4d7acea','2026-11-25T18:58:39.806603+00:00','Ida',NULL,'ingredient','01a214130240748aa179f8c395caa026','add',NULL,'{"formula_id": "01a21413023f765ab436b42a2e7356b8", "position": 1, "name": "bread flour", "role": "flour", "percent": 100.0, "note": "", "id": "01a214130240748aa179f8c395caa026"}',NULL);
INSERT INTO "change" VALUES(5,'01a2141302507413a502d227e4d7acea','2026-11-25T18:58:39.806603+00:00','Ida',NULL,'ingredient','01a2141302417bcebc197d515b940fb7','add',NULL,'{"formula_id": "01a21413023f765ab436b42a2e7356b8", "position": 2, "name": "milk", "role": "liquid", "percent": 72.0, "note": "", "id": "01a2141302417bcebc197d515b940fb7"}',NULL);
INSERT INTO "change" VALUES(6,'01a2141302507413a502d227e4d7acea','2026-11-25T18:58:39.806603+00:00','Ida',NULL,'ingredient','01a2141302467f50b503f8d5a7ad336d','add',NULL,'{"formula_id": "01a21413023f765ab436b42a2e7356b8", "position": 3, "name": "salt", "role": "salt", "percent": 1.8, "note": "", "id": "01a2141302467f50b503f8d5a7ad336d"}',NULL);
INSERT INTO "change" VALUES(7,'01a2141302507413a502d227e4d7acea','2026-11-25T18:58:39.806603+00:00','Ida',NULL,'ingredient','01a2141302467730b740d37aa5a4a68d','add',NULL,'{"formula_id": "01a21413023f765ab436b42a2e7356b8", "position": 4, "name": "diastatic malt", "role": "malt", "percent": null, "note": "", "id": "01a2141302467730b740d37aa5a4a68d"}',NULL);
INSERT INTO "change" VALUES(8,'01a2141302507413a502d227e4d7acea','2026-11-25T18:58:39.806603+00:00','Ida',NULL,'trial','01a21413022d7caf882e811e0107a574','change','{"formula_id": null}','{"formula_id": "01a21413023f765ab436b42a2e7356b8"}',NULL);
INSERT INTO "change" VALUES(9,'01a21413026c79bfa6956f79f21ab47d','2026-11-25T18:58:39.829684+00:00','Ida','malt: bake 1 of 2026-11-26 begun','lot','01a21413026472f3a426f42beb86a692','add',NULL,'{"kind": "flour", "code": "F1", "note": "", "id": "01a21413026472f3a426f42beb86a692"}',NULL);
INSERT INTO "change" VALUES(10,'01a21413026c79bfa6956f79f21ab47d','2026-11-25T18:58:39.829684+00:00','Ida',NULL,'lot','01a2141302657845926e95f42e70fb82','add',NULL,'{"kind": "yeast", "code": "Y1", "note": "", "id": "01a2141302657845926e95f42e70fb82"}',NULL);
INSERT INTO "change" VALUES(11,'01a21413026c79bfa6956f79f21ab47d','2026-11-25T18:58:39.829684+00:00','Ida',NULL,'bake','01a21413026a7d099fa18857ee036e05','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "position": 1, "code": "1", "day": "2026-11-26", "zone": "Europe/Berlin", "flour_lot_id": "01a21413026472f3a426f42beb86a692", "yeast_lot_id": "01a2141302657845926e95f42e70fb82", "note": "", "id": "01a21413026a7d099fa18857ee036e05"}',NULL);
INSERT INTO "change" VALUES(12,'01a21413027b7a77827fa6fe284678ba','2026-11-25T18:58:39.862723+00:00','Ida','malt: load 1 of bake 1 added','load','01a21413027a77f58063255cbbe5c966','add',NULL,'{"bake_id": "01a21413026a7d099fa18857ee036e05", "position": 1, "id": "01a21413027a77f58063255cbbe5c966"}',NULL);
INSERT INTO "change" VALUES(13,'01a21413028c7a51a7d2a10519927dec','2026-11-25T18:58:39.878658+00:00','Ida','malt: Griddle temperature 190 °C, load 1 of bake 1','reading','01a21413028972b4a373768f6712f795','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "load", "target_id": "01a21413027a77f58063255cbbe5c966", "quantity": "griddle_temp_c", "value": 190.0, "u": null, "how": "entered", "at": "2026-11-25T18:58:39.878658+00:00", "photo_id": null, "note": null, "id": "01a21413028972b4a373768f6712f795"}',NULL);
INSERT INTO "change" VALUES(14,'01a2141302a07d65a19eac256073fbcc','2026-11-25T18:58:39.894572+00:00','Ida','malt: dough 1A added','dough','01a21413029e7a69802f4fffa3ce66c4','add',NULL,'{"bake_id": "01a21413026a7d099fa18857ee036e05", "position": 1, "code": "1A", "note": "", "id": "01a21413029e7a69802f4fffa3ce66c4"}',NULL);
INSERT INTO "change" VALUES(15,'01a2141302a97a1b8020d107129c855e','2026-11-25T18:58:39.910567+00:00','Ida','malt: planned Diastatic malt 0.00 %, dough 1A','reading','01a2141302a877b7821643c7f7c7a871','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "dough", "target_id": "01a21413029e7a69802f4fffa3ce66c4", "quantity": "malt_percent", "value": 0.0, "u": null, "how": "planned", "at": "2026-11-25T18:58:39.910567+00:00", "photo_id": null, "note": null, "id": "01a2141302a877b7821643c7f7c7a871"}',NULL);
INSERT INTO "change" VALUES(16,'01a2141302ce735ebdda0576236e633b','2026-11-25T18:58:39.928424+00:00','Ida','malt: piece 1A1 added','piece','01a2141302c07f11a22a62b8ef8d84cb','add',NULL,'{"dough_id": "01a21413029e7a69802f4fffa3ce66c4", "position": 1, "code": "1A1", "load_id": "01a21413027a77f58063255cbbe5c966", "place": 1, "blind": null, "id": "01a2141302c07f11a22a62b8ef8d84cb"}',NULL);
INSERT INTO "change" VALUES(17,'01a2141302d775b6b536b93d4ea66911','2026-11-25T18:58:39.957200+00:00','Ida','malt: Height 39.0 mm, piece 1A1','reading','01a2141302d77fb6b5b9aa0597ead494','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "piece", "target_id": "01a2141302c07f11a22a62b8ef8d84cb", "quantity": "rise_height_mm", "value": 39.0, "u": null, "how": "entered", "at": "2026-11-25T18:58:39.957200+00:00", "photo_id": null, "note": null, "id": "01a2141302d77fb6b5b9aa0597ead494"}',NULL);
INSERT INTO "change" VALUES(18,'01a2141302ec79678e003fed8f134e9e','2026-11-25T18:58:39.973361+00:00','Ida','malt: piece 1A2 added','piece','01a2141302eb7f7181ce774c42afdb01','add',NULL,'{"dough_id": "01a21413029e7a69802f4fffa3ce66c4", "position": 2, "code": "1A2", "load_id": "01a21413027a77f58063255cbbe5c966", "place": 2, "blind": null, "id": "01a2141302eb7f7181ce774c42afdb01"}',NULL);
INSERT INTO "change" VALUES(19,'01a2141302f37a348632edca38469e06','2026-11-25T18:58:39.986372+00:00','Ida','malt: Height 39.5 mm, piece 1A2','reading','01a2141302f27a8d8dda7583ee231291','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "piece", "target_id": "01a2141302eb7f7181ce774c42afdb01", "quantity": "rise_height_mm", "value": 39.5, "u": null, "how": "entered", "at": "2026-11-25T18:58:39.986372+00:00", "photo_id": null, "note": null, "id": "01a2141302f27a8d8dda7583ee231291"}',NULL);
INSERT INTO "change" VALUES(20,'01a2141302fc7f3184e6051a9dccd310','2026-11-25T18:58:39.994411+00:00','Ida','malt: dough 1B added','dough','01a2141302fb731e9fb70023c06d417f','add',NULL,'{"bake_id": "01a21413026a7d099fa18857ee036e05", "position": 2, "code": "1B", "note": "", "id": "01a2141302fb731e9fb70023c06d417f"}',NULL);
INSERT INTO "change" VALUES(21,'01a2141303037c9483680ac8de6050f4','2026-11-25T18:58:40.002479+00:00','Ida','malt: planned Diastatic malt 0.80 %, dough 1B','reading','01a214130302798b8af440c589ff665c','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "dough", "target_id": "01a2141302fb731e9fb70023c06d417f", "quantity": "malt_percent", "value": 0.8, "u": null, "how": "planned", "at": "2026-11-25T18:58:40.002479+00:00", "photo_id": null, "note": null, "id": "01a214130302798b8af440c589ff665c"}',NULL);
INSERT INTO "change" VALUES(22,'01a21413030f7ab18d2712c845205d9d','2026-11-25T18:58:40.008279+00:00','Ida','malt: piece 1B1 added','piece','01a21413030e7775a9dd81ae935b7dd6','add',NULL,'{"dough_id": "01a2141302fb731e9fb70023c06d417f", "position": 1, "code": "1B1", "load_id": "01a21413027a77f58063255cbbe5c966", "place": 3, "blind": null, "id": "01a21413030e7775a9dd81ae935b7dd6"}',NULL);
INSERT INTO "change" VALUES(23,'01a2141303177e409b7f030beac3ff45','2026-11-25T18:58:40.022439+00:00','Ida','malt: Height 39.8 mm, piece 1B1','reading','01a214130316798f87da91b0b6c052b9','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "piece", "target_id": "01a21413030e7775a9dd81ae935b7dd6", "quantity": "rise_height_mm", "value": 39.8, "u": null, "how": "entered", "at": "2026-11-25T18:58:40.022439+00:00", "photo_id": null, "note": null, "id": "01a214130316798f87da91b0b6c052b9"}',NULL);
INSERT INTO "change" VALUES(24,'01a21413032376478370839a68d40074','2026-11-25T18:58:40.028476+00:00','Ida','malt: piece 1B2 added','piece','01a214130322705895f74a9f1367fcaa','add',NULL,'{"dough_id": "01a2141302fb731e9fb70023c06d417f", "position": 2, "code": "1B2", "load_id": "01a21413027a77f58063255cbbe5c966", "place": 4, "blind": null, "id": "01a214130322705895f74a9f1367fcaa"}',NULL);
INSERT INTO "change" VALUES(25,'01a21413032b7dee817e86c97f0ad04b','2026-11-25T18:58:40.042469+00:00','Ida','malt: Height 40.3 mm, piece 1B2','reading','01a21413032a71a8b1c4cb914ebfbe53','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "piece", "target_id": "01a214130322705895f74a9f1367fcaa", "quantity": "rise_height_mm", "value": 40.3, "u": null, "how": "entered", "at": "2026-11-25T18:58:40.042469+00:00", "photo_id": null, "note": null, "id": "01a21413032a71a8b1c4cb914ebfbe53"}',NULL);
INSERT INTO "change" VALUES(26,'01a2141303357e3481fc17007383522e','2026-11-25T18:58:40.046224+00:00','Ida','malt: bake 2 of 2026-12-03 begun','lot','01a21413033072d6ad355d7e6b13b165','add',NULL,'{"kind": "flour", "code": "F2", "note": "", "id": "01a21413033072d6ad355d7e6b13b165"}',NULL);
INSERT INTO "change" VALUES(27,'01a2141303357e3481fc17007383522e','2026-11-25T18:58:40.046224+00:00','Ida',NULL,'bake','01a2141303317872825105914578acad','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "position": 2, "code": "2", "day": "2026-12-03", "zone": "Europe/Berlin", "flour_lot_id": "01a21413033072d6ad355d7e6b13b165", "yeast_lot_id": "01a2141302657845926e95f42e70fb82", "note": "", "id": "01a2141303317872825105914578acad"}',NULL);
INSERT INTO "change" VALUES(28,'01a21413033c77b3901c130636e7c48e','2026-11-25T18:58:40.058390+00:00','Ida','malt: load 1 of bake 2 added','load','01a21413033b7d30b42cf6831d64a7aa','add',NULL,'{"bake_id": "01a2141303317872825105914578acad", "position": 1, "id": "01a21413033b7d30b42cf6831d64a7aa"}',NULL);
INSERT INTO "change" VALUES(29,'01a21413034777d7a3d1bf680e1987c1','2026-11-25T18:58:40.070600+00:00','Ida','malt: Griddle temperature 190 °C, load 1 of bake 2','reading','01a2141303477638b62d8407938838b7','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "load", "target_id": "01a21413033b7d30b42cf6831d64a7aa", "quantity": "griddle_temp_c", "value": 190.0, "u": null, "how": "entered", "at": "2026-11-25T18:58:40.070600+00:00", "photo_id": null, "note": null, "id": "01a2141303477638b62d8407938838b7"}',NULL);
INSERT INTO "change" VALUES(30,'01a21413035370aab1d8e5d74b9dd39b','2026-11-25T18:58:40.074246+00:00','Ida','malt: dough 2A added','dough','01a2141303527bcc82132e463f00e3eb','add',NULL,'{"bake_id": "01a2141303317872825105914578acad", "position": 1, "code": "2A", "note": "", "id": "01a2141303527bcc82132e463f00e3eb"}',NULL);
INSERT INTO "change" VALUES(31,'01a2141303567f04845258aa499d94b4','2026-11-25T18:58:40.086265+00:00','Ida','malt: planned Diastatic malt 0.00 %, dough 2A','reading','01a214130356787b8475363a10176ceb','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "dough", "target_id": "01a2141303527bcc82132e463f00e3eb", "quantity": "malt_percent", "value": 0.0, "u": null, "how": "planned", "at": "2026-11-25T18:58:40.086265+00:00", "photo_id": null, "note": null, "id": "01a214130356787b8475363a10176ceb"}',NULL);
INSERT INTO "change" VALUES(32,'01a21413036776bcb2b26886f3ce437e','2026-11-25T18:58:40.096745+00:00','Ida','malt: piece 2A1 added','piece','01a21413036779dcb9712f79cbc6841f','add',NULL,'{"dough_id": "01a2141303527bcc82132e463f00e3eb", "position": 1, "code": "2A1", "load_id": "01a21413033b7d30b42cf6831d64a7aa", "place": 1, "blind": null, "id": "01a21413036779dcb9712f79cbc6841f"}',NULL);
INSERT INTO "change" VALUES(33,'01a21413036a7f6284bfa11918c33acb','2026-11-25T18:58:40.106228+00:00','Ida','malt: Height 40.0 mm, piece 2A1','reading','01a21413036a7855bf4a0b33dfa5a841','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "piece", "target_id": "01a21413036779dcb9712f79cbc6841f", "quantity": "rise_height_mm", "value": 40.0, "u": null, "how": "entered", "at": "2026-11-25T18:58:40.106228+00:00", "photo_id": null, "note": null, "id": "01a21413036a7855bf4a0b33dfa5a841"}',NULL);
INSERT INTO "change" VALUES(34,'01a21413037876cabd03774f5d237a22','2026-11-25T18:58:40.117021+00:00','Ida','malt: piece 2A2 added','piece','01a21413037770269f0dfcfa28950e58','add',NULL,'{"dough_id": "01a2141303527bcc82132e463f00e3eb", "position": 2, "code": "2A2", "load_id": "01a21413033b7d30b42cf6831d64a7aa", "place": 2, "blind": null, "id": "01a21413037770269f0dfcfa28950e58"}',NULL);
INSERT INTO "change" VALUES(35,'01a2141303837961b3e28573c866b4dd','2026-11-25T18:58:40.130592+00:00','Ida','malt: Height 40.5 mm, piece 2A2','reading','01a2141303837880a757dae16fe2fe4b','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "piece", "target_id": "01a21413037770269f0dfcfa28950e58", "quantity": "rise_height_mm", "value": 40.5, "u": null, "how": "entered", "at": "2026-11-25T18:58:40.130592+00:00", "photo_id": null, "note": null, "id": "01a2141303837880a757dae16fe2fe4b"}',NULL);
INSERT INTO "change" VALUES(36,'01a214130388700bb6409f3e37f131c4','2026-11-25T18:58:40.134330+00:00','Ida','malt: dough 2B added','dough','01a2141303877b75adff9da45dc1017f','add',NULL,'{"bake_id": "01a2141303317872825105914578acad", "position": 2, "code": "2B", "note": "", "id": "01a2141303877b75adff9da45dc1017f"}',NULL);
INSERT INTO "change" VALUES(37,'01a21413039374608685b96361263c8d','2026-11-25T18:58:40.146540+00:00','Ida','malt: planned Diastatic malt 0.80 %, dough 2B','reading','01a21413039374048c4fd5231e71674d','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "dough", "target_id": "01a2141303877b75adff9da45dc1017f", "quantity": "malt_percent", "value": 0.8, "u": null, "how": "planned", "at": "2026-11-25T18:58:40.146540+00:00", "photo_id": null, "note": null, "id": "01a21413039374048c4fd5231e71674d"}',NULL);
INSERT INTO "change" VALUES(38,'01a21413039f78fc89729bed3c13d2ca','2026-11-25T18:58:40.152344+00:00','Ida','malt: piece 2B1 added','piece','01a21413039e7ed2be550ee0f77c0545','add',NULL,'{"dough_id": "01a2141303877b75adff9da45dc1017f", "position": 1, "code": "2B1", "load_id": "01a21413033b7d30b42cf6831d64a7aa", "place": 3, "blind": null, "id": "01a21413039e7ed2be550ee0f77c0545"}',NULL);
INSERT INTO "change" VALUES(39,'01a2141303a77c24b18f5a1f71a4bffd','2026-11-25T18:58:40.166528+00:00','Ida','malt: Height 40.8 mm, piece 2B1','reading','01a2141303a777989064a165b09a6960','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "piece", "target_id": "01a21413039e7ed2be550ee0f77c0545", "quantity": "rise_height_mm", "value": 40.8, "u": null, "how": "entered", "at": "2026-11-25T18:58:40.166528+00:00", "photo_id": null, "note": null, "id": "01a2141303a777989064a165b09a6960"}',NULL);
INSERT INTO "change" VALUES(40,'01a2141303b37065929dd29d85922ac6','2026-11-25T18:58:40.172646+00:00','Ida','malt: piece 2B2 added','piece','01a2141303b271bc88ec68fba4a69dfe','add',NULL,'{"dough_id": "01a2141303877b75adff9da45dc1017f", "position": 2, "code": "2B2", "load_id": "01a21413033b7d30b42cf6831d64a7aa", "place": 4, "blind": null, "id": "01a2141303b271bc88ec68fba4a69dfe"}',NULL);
INSERT INTO "change" VALUES(41,'01a2141303bf7d9e97163ab29cb2f437','2026-11-25T18:58:40.190535+00:00','Ida','malt: Height 41.3 mm, piece 2B2','reading','01a2141303bf75218e06340d1ea58473','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "piece", "target_id": "01a2141303b271bc88ec68fba4a69dfe", "quantity": "rise_height_mm", "value": 41.3, "u": null, "how": "entered", "at": "2026-11-25T18:58:40.190535+00:00", "photo_id": null, "note": null, "id": "01a2141303bf75218e06340d1ea58473"}',NULL);
INSERT INTO "change" VALUES(42,'01a2141303c575ecae96feb4f1f1bbef','2026-11-25T18:58:40.194274+00:00','Ida','malt: event ''fridge open'' on bake 2 noted','event','01a2141303c37fe6abb45b1014bad579','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "bake", "target_id": "01a2141303317872825105914578acad", "kind": "fridge open", "text": "for two hours", "at": "2026-11-25T18:58:40.195206+00:00", "id": "01a2141303c37fe6abb45b1014bad579"}',NULL);
INSERT INTO "change" VALUES(43,'01a2141303cf7ae7acffea7579b41b66','2026-11-25T18:58:40.206502+00:00','Ida','malt: Height 45.0 mm, piece 2B2','reading','01a2141303cf7f73a2ab4c672a567dea','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "piece", "target_id": "01a2141303b271bc88ec68fba4a69dfe", "quantity": "rise_height_mm", "value": 45.0, "u": null, "how": "entered", "at": "2026-11-25T18:58:40.206502+00:00", "photo_id": null, "note": "measured twice", "id": "01a2141303cf7f73a2ab4c672a567dea"}',NULL);
INSERT INTO "change" VALUES(44,'01a2141303d776f38dbe4b4187a67e74','2026-11-25T18:58:40.214573+00:00','Ida','malt: Height 46.0 mm, piece 2B2','reading','01a2141303d771a186143b284e0d05e7','add',NULL,'{"trial_id": "01a21413022d7caf882e811e0107a574", "level": "piece", "target_id": "01a2141303b271bc88ec68fba4a69dfe", "quantity": "rise_height_mm", "value": 46.0, "u": null, "how": "entered", "at": "2026-11-25T18:58:40.214573+00:00", "photo_id": null, "note": null, "id": "01a2141303d771a186143b284e0d05e7"}','2026-11-25T18:58:40.224271+00:00');
INSERT INTO "change" VALUES(45,'01a214130402774dadc9b5f550cc0eae','2026-11-25T18:58:40.247326+00:00','Ida','malt: piece 2A2 removed','piece','01a21413037770269f0dfcfa28950e58','delete',NULL,NULL,NULL);
CREATE TABLE dough (
	id TEXT NOT NULL, 
	bake_id TEXT NOT NULL, 
	position INTEGER NOT NULL, 
	code TEXT NOT NULL, 
	note TEXT NOT NULL, 
	deleted TEXT, 
	CONSTRAINT pk_dough PRIMARY KEY (id), 
	CONSTRAINT fk_dough_bake_id FOREIGN KEY(bake_id) REFERENCES bake (id)
);
INSERT INTO "dough" VALUES('01a21413029e7a69802f4fffa3ce66c4','01a21413026a7d099fa18857ee036e05',1,'1A','',NULL);
INSERT INTO "dough" VALUES('01a2141302fb731e9fb70023c06d417f','01a21413026a7d099fa18857ee036e05',2,'1B','',NULL);
INSERT INTO "dough" VALUES('01a2141303527bcc82132e463f00e3eb','01a2141303317872825105914578acad',1,'2A','',NULL);
INSERT INTO "dough" VALUES('01a2141303877b75adff9da45dc1017f','01a2141303317872825105914578acad',2,'2B','',NULL);
CREATE TABLE event (
	id TEXT NOT NULL, 
	trial_id TEXT NOT NULL, 
	level TEXT NOT NULL, 
	target_id TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	text TEXT NOT NULL, 
	at TEXT NOT NULL, 
	deleted TEXT, 
	CONSTRAINT pk_event PRIMARY KEY (id), 
	CONSTRAINT fk_event_trial_id FOREIGN KEY(trial_id) REFERENCES trial (id)
);
INSERT INTO "event" VALUES('01a2141303c37fe6abb45b1014bad579','01a21413022d7caf882e811e0107a574','bake','01a2141303317872825105914578acad','fridge open','for two hours','2026-11-25T18:58:40.195206+00:00',NULL);
CREATE TABLE factor (
	id TEXT NOT NULL, 
	trial_id TEXT NOT NULL, 
	position INTEGER NOT NULL, 
	quantity TEXT NOT NULL, 
	settings JSON NOT NULL, 
	deleted TEXT, 
	CONSTRAINT pk_factor PRIMARY KEY (id), 
	CONSTRAINT fk_factor_trial_id FOREIGN KEY(trial_id) REFERENCES trial (id)
);
INSERT INTO "factor" VALUES('01a21413023377f58aedc6328cd2ca85','01a21413022d7caf882e811e0107a574',1,'malt_percent','[0.0, 0.8]',NULL);
CREATE TABLE formula (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	note TEXT NOT NULL, 
	deleted TEXT, 
	CONSTRAINT pk_formula PRIMARY KEY (id)
);
INSERT INTO "formula" VALUES('01a21413023f765ab436b42a2e7356b8','griddle muffin','',NULL);
CREATE TABLE ingredient (
	id TEXT NOT NULL, 
	formula_id TEXT NOT NULL, 
	position INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	role TEXT NOT NULL, 
	percent FLOAT, 
	note TEXT NOT NULL, 
	deleted TEXT, 
	CONSTRAINT pk_ingredient PRIMARY KEY (id), 
	CONSTRAINT fk_ingredient_formula_id FOREIGN KEY(formula_id) REFERENCES formula (id)
);
INSERT INTO "ingredient" VALUES('01a214130240748aa179f8c395caa026','01a21413023f765ab436b42a2e7356b8',1,'bread flour','flour',100.0,'',NULL);
INSERT INTO "ingredient" VALUES('01a2141302417bcebc197d515b940fb7','01a21413023f765ab436b42a2e7356b8',2,'milk','liquid',72.0,'',NULL);
INSERT INTO "ingredient" VALUES('01a2141302467f50b503f8d5a7ad336d','01a21413023f765ab436b42a2e7356b8',3,'salt','salt',1.8,'',NULL);
INSERT INTO "ingredient" VALUES('01a2141302467730b740d37aa5a4a68d','01a21413023f765ab436b42a2e7356b8',4,'diastatic malt','malt',NULL,'',NULL);
CREATE TABLE load (
	id TEXT NOT NULL, 
	bake_id TEXT NOT NULL, 
	position INTEGER NOT NULL, 
	deleted TEXT, 
	CONSTRAINT pk_load PRIMARY KEY (id), 
	CONSTRAINT fk_load_bake_id FOREIGN KEY(bake_id) REFERENCES bake (id)
);
INSERT INTO "load" VALUES('01a21413027a77f58063255cbbe5c966','01a21413026a7d099fa18857ee036e05',1,NULL);
INSERT INTO "load" VALUES('01a21413033b7d30b42cf6831d64a7aa','01a2141303317872825105914578acad',1,NULL);
CREATE TABLE lot (
	id TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	code TEXT NOT NULL, 
	note TEXT NOT NULL, 
	deleted TEXT, 
	CONSTRAINT pk_lot PRIMARY KEY (id)
);
INSERT INTO "lot" VALUES('01a21413026472f3a426f42beb86a692','flour','F1','',NULL);
INSERT INTO "lot" VALUES('01a2141302657845926e95f42e70fb82','yeast','Y1','',NULL);
INSERT INTO "lot" VALUES('01a21413033072d6ad355d7e6b13b165','flour','F2','',NULL);
CREATE TABLE photo (
	id TEXT NOT NULL, 
	trial_id TEXT, 
	level TEXT, 
	target_id TEXT, 
	path TEXT NOT NULL, 
	sha256 TEXT NOT NULL, 
	taken TEXT, 
	shows TEXT, 
	deleted TEXT, 
	CONSTRAINT pk_photo PRIMARY KEY (id), 
	CONSTRAINT fk_photo_trial_id FOREIGN KEY(trial_id) REFERENCES trial (id)
);
CREATE TABLE piece (
	id TEXT NOT NULL, 
	dough_id TEXT NOT NULL, 
	position INTEGER NOT NULL, 
	code TEXT NOT NULL, 
	load_id TEXT, 
	place INTEGER, 
	blind TEXT, 
	deleted TEXT, 
	CONSTRAINT pk_piece PRIMARY KEY (id), 
	CONSTRAINT fk_piece_dough_id FOREIGN KEY(dough_id) REFERENCES dough (id), 
	CONSTRAINT fk_piece_load_id FOREIGN KEY(load_id) REFERENCES load (id)
);
INSERT INTO "piece" VALUES('01a2141302c07f11a22a62b8ef8d84cb','01a21413029e7a69802f4fffa3ce66c4',1,'1A1','01a21413027a77f58063255cbbe5c966',1,NULL,NULL);
INSERT INTO "piece" VALUES('01a2141302eb7f7181ce774c42afdb01','01a21413029e7a69802f4fffa3ce66c4',2,'1A2','01a21413027a77f58063255cbbe5c966',2,NULL,NULL);
INSERT INTO "piece" VALUES('01a21413030e7775a9dd81ae935b7dd6','01a2141302fb731e9fb70023c06d417f',1,'1B1','01a21413027a77f58063255cbbe5c966',3,NULL,NULL);
INSERT INTO "piece" VALUES('01a214130322705895f74a9f1367fcaa','01a2141302fb731e9fb70023c06d417f',2,'1B2','01a21413027a77f58063255cbbe5c966',4,NULL,NULL);
INSERT INTO "piece" VALUES('01a21413036779dcb9712f79cbc6841f','01a2141303527bcc82132e463f00e3eb',1,'2A1','01a21413033b7d30b42cf6831d64a7aa',1,NULL,NULL);
INSERT INTO "piece" VALUES('01a21413037770269f0dfcfa28950e58','01a2141303527bcc82132e463f00e3eb',2,'2A2','01a21413033b7d30b42cf6831d64a7aa',2,NULL,'2026-11-25T18:58:40.247326+00:00');
INSERT INTO "piece" VALUES('01a21413039e7ed2be550ee0f77c0545','01a2141303877b75adff9da45dc1017f',1,'2B1','01a21413033b7d30b42cf6831d64a7aa',3,NULL,NULL);
INSERT INTO "piece" VALUES('01a2141303b271bc88ec68fba4a69dfe','01a2141303877b75adff9da45dc1017f',2,'2B2','01a21413033b7d30b42cf6831d64a7aa',4,NULL,NULL);
CREATE TABLE quantity (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	definition JSON NOT NULL, 
	deleted TEXT, 
	CONSTRAINT pk_quantity PRIMARY KEY (id)
);
CREATE TABLE reading (
	seq INTEGER NOT NULL, 
	id TEXT NOT NULL, 
	trial_id TEXT NOT NULL, 
	level TEXT NOT NULL, 
	target_id TEXT NOT NULL, 
	quantity TEXT NOT NULL, 
	value FLOAT, 
	u FLOAT, 
	how TEXT NOT NULL, 
	at TEXT NOT NULL, 
	photo_id TEXT, 
	note TEXT, 
	deleted TEXT, 
	CONSTRAINT pk_reading PRIMARY KEY (seq), 
	CONSTRAINT uq_reading_id UNIQUE (id), 
	CONSTRAINT fk_reading_trial_id FOREIGN KEY(trial_id) REFERENCES trial (id), 
	CONSTRAINT fk_reading_photo_id FOREIGN KEY(photo_id) REFERENCES photo (id)
);
INSERT INTO "reading" VALUES(1,'01a21413028972b4a373768f6712f795','01a21413022d7caf882e811e0107a574','load','01a21413027a77f58063255cbbe5c966','griddle_temp_c',190.0,NULL,'entered','2026-11-25T18:58:39.878658+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(2,'01a2141302a877b7821643c7f7c7a871','01a21413022d7caf882e811e0107a574','dough','01a21413029e7a69802f4fffa3ce66c4','malt_percent',0.0,NULL,'planned','2026-11-25T18:58:39.910567+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(3,'01a2141302d77fb6b5b9aa0597ead494','01a21413022d7caf882e811e0107a574','piece','01a2141302c07f11a22a62b8ef8d84cb','rise_height_mm',39.0,NULL,'entered','2026-11-25T18:58:39.957200+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(4,'01a2141302f27a8d8dda7583ee231291','01a21413022d7caf882e811e0107a574','piece','01a2141302eb7f7181ce774c42afdb01','rise_height_mm',39.5,NULL,'entered','2026-11-25T18:58:39.986372+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(5,'01a214130302798b8af440c589ff665c','01a21413022d7caf882e811e0107a574','dough','01a2141302fb731e9fb70023c06d417f','malt_percent',0.8,NULL,'planned','2026-11-25T18:58:40.002479+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(6,'01a214130316798f87da91b0b6c052b9','01a21413022d7caf882e811e0107a574','piece','01a21413030e7775a9dd81ae935b7dd6','rise_height_mm',39.8,NULL,'entered','2026-11-25T18:58:40.022439+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(7,'01a21413032a71a8b1c4cb914ebfbe53','01a21413022d7caf882e811e0107a574','piece','01a214130322705895f74a9f1367fcaa','rise_height_mm',40.3,NULL,'entered','2026-11-25T18:58:40.042469+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(8,'01a2141303477638b62d8407938838b7','01a21413022d7caf882e811e0107a574','load','01a21413033b7d30b42cf6831d64a7aa','griddle_temp_c',190.0,NULL,'entered','2026-11-25T18:58:40.070600+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(9,'01a214130356787b8475363a10176ceb','01a21413022d7caf882e811e0107a574','dough','01a2141303527bcc82132e463f00e3eb','malt_percent',0.0,NULL,'planned','2026-11-25T18:58:40.086265+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(10,'01a21413036a7855bf4a0b33dfa5a841','01a21413022d7caf882e811e0107a574','piece','01a21413036779dcb9712f79cbc6841f','rise_height_mm',40.0,NULL,'entered','2026-11-25T18:58:40.106228+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(11,'01a2141303837880a757dae16fe2fe4b','01a21413022d7caf882e811e0107a574','piece','01a21413037770269f0dfcfa28950e58','rise_height_mm',40.5,NULL,'entered','2026-11-25T18:58:40.130592+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(12,'01a21413039374048c4fd5231e71674d','01a21413022d7caf882e811e0107a574','dough','01a2141303877b75adff9da45dc1017f','malt_percent',0.8,NULL,'planned','2026-11-25T18:58:40.146540+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(13,'01a2141303a777989064a165b09a6960','01a21413022d7caf882e811e0107a574','piece','01a21413039e7ed2be550ee0f77c0545','rise_height_mm',40.8,NULL,'entered','2026-11-25T18:58:40.166528+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(14,'01a2141303bf75218e06340d1ea58473','01a21413022d7caf882e811e0107a574','piece','01a2141303b271bc88ec68fba4a69dfe','rise_height_mm',41.3,NULL,'entered','2026-11-25T18:58:40.190535+00:00',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(15,'01a2141303cf7f73a2ab4c672a567dea','01a21413022d7caf882e811e0107a574','piece','01a2141303b271bc88ec68fba4a69dfe','rise_height_mm',45.0,NULL,'entered','2026-11-25T18:58:40.206502+00:00',NULL,'measured twice',NULL);
INSERT INTO "reading" VALUES(16,'01a2141303d771a186143b284e0d05e7','01a21413022d7caf882e811e0107a574','piece','01a2141303b271bc88ec68fba4a69dfe','rise_height_mm',46.0,NULL,'entered','2026-11-25T18:58:40.214573+00:00',NULL,NULL,'2026-11-25T18:58:40.224271+00:00');
CREATE TABLE taster (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	deleted TEXT, 
	CONSTRAINT pk_taster PRIMARY KEY (id)
);
CREATE TABLE tasting (
	id TEXT NOT NULL, 
	trial_id TEXT NOT NULL, 
	taster_id TEXT NOT NULL, 
	method TEXT NOT NULL, 
	samples JSON NOT NULL, 
	answer JSON, 
	at TEXT NOT NULL, 
	deleted TEXT, 
	CONSTRAINT pk_tasting PRIMARY KEY (id), 
	CONSTRAINT fk_tasting_trial_id FOREIGN KEY(trial_id) REFERENCES trial (id), 
	CONSTRAINT fk_tasting_taster_id FOREIGN KEY(taster_id) REFERENCES taster (id)
);
CREATE TABLE trial (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	question TEXT NOT NULL, 
	outcome TEXT, 
	matters FLOAT, 
	zone TEXT NOT NULL, 
	invented BOOLEAN NOT NULL, 
	baker TEXT NOT NULL, 
	formula_id TEXT, 
	created TEXT NOT NULL, 
	deleted TEXT, 
	CONSTRAINT pk_trial PRIMARY KEY (id), 
	CONSTRAINT fk_trial_formula_id FOREIGN KEY(formula_id) REFERENCES formula (id)
);
INSERT INTO "trial" VALUES('01a21413022d7caf882e811e0107a574','malt','Does more malt make a taller muffin?','rise_height_mm',2.0,'Europe/Berlin',1,'harbour café (invented)','01a21413023f765ab436b42a2e7356b8','2026-11-25T18:58:39.786667+00:00',NULL);
CREATE UNIQUE INDEX one_lot ON lot (kind, code) WHERE deleted IS NULL;
CREATE UNIQUE INDEX one_taster ON taster (name) WHERE deleted IS NULL;
CREATE UNIQUE INDEX one_quantity ON quantity (name) WHERE deleted IS NULL;
CREATE INDEX change_of_step ON change (step);
CREATE UNIQUE INDEX one_ingredient_position ON ingredient (formula_id, position) WHERE deleted IS NULL;
CREATE UNIQUE INDEX one_trial_name ON trial (name) WHERE deleted IS NULL;
CREATE UNIQUE INDEX one_factor ON factor (trial_id, quantity) WHERE deleted IS NULL;
CREATE UNIQUE INDEX one_bake_code ON bake (trial_id, code) WHERE deleted IS NULL;
CREATE INDEX event_of_trial ON event (trial_id);
CREATE UNIQUE INDEX one_dough_code ON dough (bake_id, code) WHERE deleted IS NULL;
CREATE UNIQUE INDEX one_load_position ON load (bake_id, position) WHERE deleted IS NULL;
CREATE INDEX reading_of_trial ON reading (trial_id, seq);
CREATE INDEX reading_of_thing ON reading (target_id, quantity);
CREATE UNIQUE INDEX one_piece_code ON piece (dough_id, code) WHERE deleted IS NULL;
CREATE UNIQUE INDEX one_piece_place ON piece (load_id, place) WHERE deleted IS NULL;
COMMIT;
