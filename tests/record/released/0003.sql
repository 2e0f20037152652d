BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0003');
CREATE TABLE athlete_names (
	athlete TEXT NOT NULL, 
	name TEXT NOT NULL, 
	CONSTRAINT pk_athlete_names PRIMARY KEY (athlete), 
	CONSTRAINT fk_athlete_names_athlete FOREIGN KEY(athlete) REFERENCES athletes (athlete) ON DELETE CASCADE ON UPDATE CASCADE
);
INSERT INTO "athlete_names" VALUES('A1','Name of A1');
INSERT INTO "athlete_names" VALUES('B2','Name of B2');
CREATE TABLE athletes (
	athlete TEXT NOT NULL, 
	throws TEXT, 
	age_band TEXT, 
	consent TEXT, 
	consent_day TEXT, 
	keep_until TEXT, 
	CONSTRAINT pk_athletes PRIMARY KEY (athlete)
);
INSERT INTO "athletes" VALUES('A1','R','18 or over','own',NULL,NULL);
INSERT INTO "athletes" VALUES('B2','R','18 or over','own',NULL,NULL);
CREATE TABLE backups (
	machine TEXT NOT NULL, 
	path TEXT NOT NULL, 
	at TEXT NOT NULL, 
	CONSTRAINT pk_backups PRIMARY KEY (machine, path)
);
CREATE TABLE clips (
	sha256 TEXT NOT NULL, 
	session TEXT NOT NULL, 
	name TEXT NOT NULL, 
	ext TEXT NOT NULL, 
	bytes BIGINT NOT NULL, 
	camera TEXT NOT NULL, 
	athlete TEXT, 
	created TEXT, 
	taken_in TEXT NOT NULL, 
	state TEXT NOT NULL, 
	why TEXT, 
	measurement TEXT, 
	CONSTRAINT pk_clips PRIMARY KEY (sha256), 
	CONSTRAINT fk_clips_athlete FOREIGN KEY(athlete) REFERENCES athletes (athlete) ON UPDATE CASCADE, 
	CONSTRAINT fk_clips_session FOREIGN KEY(session) REFERENCES sessions (session) ON DELETE CASCADE
);
INSERT INTO "clips" VALUES('4a7f8ec92e31d467aff481542b5a9088bf1ef43d19a3f0798ac24ae271342ff7','d467c7f0322d49e09708b68f9872910d','barn_1.mp4','.mp4',750,'',NULL,NULL,'2026-11-26T09:20:16.453089+00:00','measured',NULL,'6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343');
INSERT INTO "clips" VALUES('3067bbd7fb18516fe9a10377ecf8f2c31c3eac28021d7c6cc3ebe1ea7f5418df','d467c7f0322d49e09708b68f9872910d','barn_2.mp4','.mp4',750,'',NULL,NULL,'2026-11-26T09:20:16.480486+00:00','measured',NULL,'14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e');
INSERT INTO "clips" VALUES('c62aabd56cffd63d5b9dad2d874cfdb3ff2d57d2193c3725cc092dc50e68375a','d467c7f0322d49e09708b68f9872910d','barn_3.mp4','.mp4',750,'',NULL,NULL,'2026-11-26T09:20:16.490595+00:00','measured',NULL,'093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550');
INSERT INTO "clips" VALUES('1dad98e6b4b3fa4a9019156d202282a3347c35a491bf25330305f1624e5df0e1','d467c7f0322d49e09708b68f9872910d','barn_4.mp4','.mp4',750,'',NULL,NULL,'2026-11-26T09:20:16.504652+00:00','measured',NULL,'598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5');
INSERT INTO "clips" VALUES('52a7625781268cd123108e15fabb10487208635c9e3d29e62a36ea5b0e41fce9','d467c7f0322d49e09708b68f9872910d','barn_5.mp4','.mp4',750,'',NULL,NULL,'2026-11-26T09:20:16.513556+00:00','measured',NULL,'f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d');
INSERT INTO "clips" VALUES('915db1f2c27e38b48410932f4c9570246d942da2e11c9f9e800fb543b03b7e57','d467c7f0322d49e09708b68f9872910d','barn_6.mp4','.mp4',750,'',NULL,NULL,'2026-11-26T09:20:16.528467+00:00','measured',NULL,'9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f');
CREATE TABLE facts (
	fact TEXT NOT NULL, 
	at TEXT NOT NULL, 
	who TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	session TEXT, 
	clip TEXT, 
	throw INTEGER, 
	flight TEXT, 
	athlete TEXT, 
	value JSON, 
	undoes TEXT, 
	CONSTRAINT pk_facts PRIMARY KEY (fact), 
	CONSTRAINT fk_facts_athlete FOREIGN KEY(athlete) REFERENCES athletes (athlete) ON DELETE CASCADE ON UPDATE CASCADE, 
	CONSTRAINT fk_facts_clip FOREIGN KEY(clip) REFERENCES clips (sha256) ON DELETE CASCADE, 
	CONSTRAINT fk_facts_session FOREIGN KEY(session) REFERENCES sessions (session) ON DELETE CASCADE
);
INSERT INTO "facts" VALUES('a2ca9f980fda43cab0c3a33ea8ac7886','2026-11-26T09:20:16.549108+00:00','coach','target set',NULL,NULL,NULL,NULL,'A1','{"pitch": "slider", "for": "A1"}',NULL);
INSERT INTO "facts" VALUES('a62a51c49a6e46b0aee34ddd7fc5cb8c','2026-11-26T09:20:16.560790+00:00','coach','target set',NULL,NULL,NULL,NULL,'B2','{"pitch": "slider", "for": "B2"}',NULL);
INSERT INTO "facts" VALUES('2e9678c17a1a49f38da32f5928ab2a2f','2026-11-26T09:20:16.561404+00:00','coach','release set','d467c7f0322d49e09708b68f9872910d','4a7f8ec92e31d467aff481542b5a9088bf1ef43d19a3f0798ac24ae271342ff7',NULL,NULL,NULL,'{"frame_index": 4.0}',NULL);
INSERT INTO "facts" VALUES('93c578830b16486aaf2a8116ba5d3bb9','2026-11-26T09:20:16.561951+00:00','coach','throw tagged','d467c7f0322d49e09708b68f9872910d',NULL,2,NULL,NULL,'{"cue": "slow"}',NULL);
INSERT INTO "facts" VALUES('36edc60d30864486b1882b3155f3459f','2026-11-26T09:20:16.563608+00:00','coach','undone',NULL,NULL,NULL,NULL,NULL,NULL,'93c578830b16486aaf2a8116ba5d3bb9');
CREATE TABLE flights (
	session TEXT NOT NULL, 
	flight TEXT NOT NULL, 
	time TEXT, 
	athlete TEXT, 
	pitch TEXT, 
	speed_mph FLOAT, 
	induced_vertical_break_in FLOAT, 
	horizontal_break_in FLOAT, 
	spin_rpm FLOAT, 
	spin_tilt_deg FLOAT, 
	spin_efficiency FLOAT, 
	release_height_ft FLOAT, 
	release_side_ft FLOAT, 
	extension_ft FLOAT, 
	x0_ft FLOAT, 
	y0_ft FLOAT, 
	z0_ft FLOAT, 
	vx0_ft_s FLOAT, 
	vy0_ft_s FLOAT, 
	vz0_ft_s FLOAT, 
	ax_ft_s2 FLOAT, 
	ay_ft_s2 FLOAT, 
	az_ft_s2 FLOAT, 
	break_window TEXT, 
	flags TEXT, 
	extra JSON, 
	CONSTRAINT pk_flights PRIMARY KEY (session, flight), 
	CONSTRAINT fk_flights_session FOREIGN KEY(session) REFERENCES sessions (session) ON DELETE CASCADE
)
 WITHOUT ROWID

;
INSERT INTO "flights" VALUES('d467c7f0322d49e09708b68f9872910d','1',NULL,NULL,NULL,81.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "flights" VALUES('d467c7f0322d49e09708b68f9872910d','2',NULL,NULL,NULL,82.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "flights" VALUES('d467c7f0322d49e09708b68f9872910d','3',NULL,NULL,NULL,83.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "flights" VALUES('d467c7f0322d49e09708b68f9872910d','4',NULL,NULL,NULL,84.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "flights" VALUES('d467c7f0322d49e09708b68f9872910d','5',NULL,NULL,NULL,85.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "flights" VALUES('d467c7f0322d49e09708b68f9872910d','6',NULL,NULL,NULL,86.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE forgotten (
	digest TEXT NOT NULL, 
	CONSTRAINT pk_forgotten PRIMARY KEY (digest)
);
CREATE TABLE imports (
	sha256 TEXT NOT NULL, 
	session TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	name TEXT NOT NULL, 
	at TEXT NOT NULL, 
	CONSTRAINT pk_imports PRIMARY KEY (sha256), 
	CONSTRAINT fk_imports_session FOREIGN KEY(session) REFERENCES sessions (session) ON DELETE CASCADE
);
INSERT INTO "imports" VALUES('sheet barn','d467c7f0322d49e09708b68f9872910d','sheet','sheet.csv','2026-11-26T09:20:16.409768+00:00');
INSERT INTO "imports" VALUES('flight barn','d467c7f0322d49e09708b68f9872910d','flight','flight.csv','2026-11-26T09:20:16.420252+00:00');
CREATE TABLE links (
	session TEXT NOT NULL, 
	"row" INTEGER NOT NULL, 
	clip TEXT, 
	throw INTEGER, 
	flight TEXT, 
	probability FLOAT, 
	state TEXT NOT NULL, 
	why TEXT, 
	CONSTRAINT pk_links PRIMARY KEY (session, "row"), 
	CONSTRAINT fk_links_clip FOREIGN KEY(clip) REFERENCES clips (sha256) ON DELETE CASCADE, 
	CONSTRAINT fk_links_session_flight FOREIGN KEY(session, flight) REFERENCES flights (session, flight) ON DELETE CASCADE, 
	CONSTRAINT fk_links_session_throw FOREIGN KEY(session, throw) REFERENCES throws (session, throw) ON DELETE CASCADE, 
	CONSTRAINT fk_links_session FOREIGN KEY(session) REFERENCES sessions (session) ON DELETE CASCADE
)
 WITHOUT ROWID

;
INSERT INTO "links" VALUES('d467c7f0322d49e09708b68f9872910d',0,'4a7f8ec92e31d467aff481542b5a9088bf1ef43d19a3f0798ac24ae271342ff7',1,'1',0.999,'linked','time');
INSERT INTO "links" VALUES('d467c7f0322d49e09708b68f9872910d',1,'3067bbd7fb18516fe9a10377ecf8f2c31c3eac28021d7c6cc3ebe1ea7f5418df',2,'2',0.999,'linked','time');
INSERT INTO "links" VALUES('d467c7f0322d49e09708b68f9872910d',2,'c62aabd56cffd63d5b9dad2d874cfdb3ff2d57d2193c3725cc092dc50e68375a',3,'3',0.999,'linked','time');
INSERT INTO "links" VALUES('d467c7f0322d49e09708b68f9872910d',3,'1dad98e6b4b3fa4a9019156d202282a3347c35a491bf25330305f1624e5df0e1',4,'4',0.999,'linked','time');
INSERT INTO "links" VALUES('d467c7f0322d49e09708b68f9872910d',4,'52a7625781268cd123108e15fabb10487208635c9e3d29e62a36ea5b0e41fce9',5,'5',0.999,'linked','time');
INSERT INTO "links" VALUES('d467c7f0322d49e09708b68f9872910d',5,'915db1f2c27e38b48410932f4c9570246d942da2e11c9f9e800fb543b03b7e57',6,'6',0.999,'linked','time');
CREATE TABLE measurements (
	measurement TEXT NOT NULL, 
	clip TEXT NOT NULL, 
	models_sha256 TEXT NOT NULL, 
	settings_sha256 TEXT NOT NULL, 
	edits_sha256 TEXT NOT NULL, 
	measured_at TEXT NOT NULL, 
	throws TEXT, 
	refused TEXT, 
	time_base JSON NOT NULL, 
	limits JSON NOT NULL, 
	flagged JSON NOT NULL, 
	settings JSON NOT NULL, 
	models JSON NOT NULL, 
	points_px JSON NOT NULL, 
	picture_frame_index INTEGER, 
	CONSTRAINT pk_measurements PRIMARY KEY (measurement), 
	CONSTRAINT fk_measurements_clip FOREIGN KEY(clip) REFERENCES clips (sha256) ON DELETE CASCADE
);
INSERT INTO "measurements" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','4a7f8ec92e31d467aff481542b5a9088bf1ef43d19a3f0798ac24ae271342ff7','m','s','','2026-11-26T09:20:16.462087+00:00','R',NULL,'{"slowdown": 1.0, "source": "stated", "why": "said so"}','[]','[]','{}','{}','{"wrist": [1.0, 2.0]}',3);
INSERT INTO "measurements" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','3067bbd7fb18516fe9a10377ecf8f2c31c3eac28021d7c6cc3ebe1ea7f5418df','m','s','','2026-11-26T09:20:16.485016+00:00','R',NULL,'{"slowdown": 1.0, "source": "stated", "why": "said so"}','[]','[]','{}','{}','{"wrist": [1.0, 2.0]}',3);
INSERT INTO "measurements" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','c62aabd56cffd63d5b9dad2d874cfdb3ff2d57d2193c3725cc092dc50e68375a','m','s','','2026-11-26T09:20:16.497515+00:00','R',NULL,'{"slowdown": 1.0, "source": "stated", "why": "said so"}','[]','[]','{}','{}','{"wrist": [1.0, 2.0]}',3);
INSERT INTO "measurements" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','1dad98e6b4b3fa4a9019156d202282a3347c35a491bf25330305f1624e5df0e1','m','s','','2026-11-26T09:20:16.508188+00:00','R',NULL,'{"slowdown": 1.0, "source": "stated", "why": "said so"}','[]','[]','{}','{}','{"wrist": [1.0, 2.0]}',3);
INSERT INTO "measurements" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','52a7625781268cd123108e15fabb10487208635c9e3d29e62a36ea5b0e41fce9','m','s','','2026-11-26T09:20:16.517986+00:00','R',NULL,'{"slowdown": 1.0, "source": "stated", "why": "said so"}','[]','[]','{}','{}','{"wrist": [1.0, 2.0]}',3);
INSERT INTO "measurements" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','915db1f2c27e38b48410932f4c9570246d942da2e11c9f9e800fb543b03b7e57','m','s','','2026-11-26T09:20:16.532639+00:00','R',NULL,'{"slowdown": 1.0, "source": "stated", "why": "said so"}','[]','[]','{}','{}','{"wrist": [1.0, 2.0]}',3);
CREATE TABLE notes (
	note TEXT NOT NULL, 
	at TEXT NOT NULL, 
	who TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	athlete TEXT, 
	session TEXT, 
	throw INTEGER, 
	text TEXT NOT NULL, 
	CONSTRAINT pk_notes PRIMARY KEY (note), 
	CONSTRAINT fk_notes_athlete FOREIGN KEY(athlete) REFERENCES athletes (athlete) ON DELETE CASCADE ON UPDATE CASCADE, 
	CONSTRAINT fk_notes_session FOREIGN KEY(session) REFERENCES sessions (session) ON DELETE CASCADE
);
INSERT INTO "notes" VALUES('76dbe6b2fe9848f8ad554b8c9faac666','2026-11-26T09:20:16.547069+00:00','coach','decision','A1',NULL,NULL,'A1 was tired');
INSERT INTO "notes" VALUES('f7283aefad234c5dbbd934456b39cce1','2026-11-26T09:20:16.557647+00:00','coach','decision','B2',NULL,NULL,'B2 was tired');
CREATE TABLE orientations (
	measurement TEXT NOT NULL, 
	figure TEXT NOT NULL, 
	value FLOAT, 
	sd FLOAT, 
	low FLOAT, 
	high FLOAT, 
	refused TEXT, 
	CONSTRAINT pk_orientations PRIMARY KEY (measurement, figure), 
	CONSTRAINT fk_orientations_measurement FOREIGN KEY(measurement) REFERENCES measurements (measurement) ON DELETE CASCADE
)
 WITHOUT ROWID

;
INSERT INTO "orientations" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','arm_angle',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','elbow_flexion',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','extension',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','forearm_elevation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','forearm_rotation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','palm_azimuth',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','palm_elevation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','palm_turn',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','release_height',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','release_side',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','wrist_deviation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550','wrist_flexion',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','arm_angle',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','elbow_flexion',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','extension',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','forearm_elevation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','forearm_rotation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','palm_azimuth',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','palm_elevation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','palm_turn',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','release_height',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','release_side',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','wrist_deviation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e','wrist_flexion',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','arm_angle',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','elbow_flexion',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','extension',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','forearm_elevation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','forearm_rotation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','palm_azimuth',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','palm_elevation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','palm_turn',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','release_height',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','release_side',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','wrist_deviation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5','wrist_flexion',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','arm_angle',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','elbow_flexion',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','extension',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','forearm_elevation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','forearm_rotation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','palm_azimuth',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','palm_elevation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','palm_turn',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','release_height',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','release_side',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','wrist_deviation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343','wrist_flexion',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','arm_angle',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','elbow_flexion',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','extension',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','forearm_elevation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','forearm_rotation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','palm_azimuth',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','palm_elevation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','palm_turn',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','release_height',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','release_side',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','wrist_deviation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f','wrist_flexion',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','arm_angle',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','elbow_flexion',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','extension',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','forearm_elevation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','forearm_rotation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','palm_azimuth',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','palm_elevation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','palm_turn',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','release_height',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','release_side',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','wrist_deviation',1.0,2.0,-3.0,5.0,NULL);
INSERT INTO "orientations" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d','wrist_flexion',1.0,2.0,-3.0,5.0,NULL);
CREATE TABLE releases (
	measurement TEXT NOT NULL, 
	frame_index FLOAT NOT NULL, 
	time_s FLOAT, 
	sd_frames FLOAT NOT NULL, 
	source TEXT NOT NULL, 
	CONSTRAINT pk_releases PRIMARY KEY (measurement), 
	CONSTRAINT fk_releases_measurement FOREIGN KEY(measurement) REFERENCES measurements (measurement) ON DELETE CASCADE
);
INSERT INTO "releases" VALUES('6af48691c08228e7dd7f9570e64ae5a49ad47a71792498788cc1995f574a3343',3.5,0.1,0.3,'ball');
INSERT INTO "releases" VALUES('14306fecfec4bfaf571c16b4c0a3102755f500c44a3cac71d5fa969cb28b857e',3.5,0.1,0.3,'ball');
INSERT INTO "releases" VALUES('093f965cb76bfbc1132aaae5b6d758621a1fd8855599872cb0a3c1d4f6b91550',3.5,0.1,0.3,'ball');
INSERT INTO "releases" VALUES('598203159c58b692102bde209fc092f74d98c8deab7ca7151421658fa2d13ce5',3.5,0.1,0.3,'ball');
INSERT INTO "releases" VALUES('f273ce01b9d7b585236c8c5e9e9b30b4ccb4c9dd021a323cc82057b1bbf7d51d',3.5,0.1,0.3,'ball');
INSERT INTO "releases" VALUES('9ef93b1c57e4be9bf1f3c68accd8d1e02df53b6ea577cd26c208b60aa8f3db7f',3.5,0.1,0.3,'ball');
CREATE TABLE sessions (
	session TEXT NOT NULL, 
	name TEXT NOT NULL, 
	day TEXT NOT NULL, 
	settings JSON, 
	"plan" TEXT, 
	CONSTRAINT pk_sessions PRIMARY KEY (session)
);
INSERT INTO "sessions" VALUES('d467c7f0322d49e09708b68f9872910d','barn','2026-11-26',NULL,NULL);
CREATE TABLE throws (
	session TEXT NOT NULL, 
	throw INTEGER NOT NULL, 
	time TEXT, 
	athlete TEXT, 
	throws TEXT, 
	pitch TEXT, 
	cue TEXT, 
	block INTEGER, 
	grip_seams TEXT, 
	grip_offset TEXT, 
	grip_index TEXT, 
	grip_thumb TEXT, 
	grip_ball TEXT, 
	grip_pressure TEXT, 
	intent_percent FLOAT, 
	target TEXT, 
	location TEXT, 
	ball TEXT, 
	note TEXT, 
	extra JSON, 
	CONSTRAINT pk_throws PRIMARY KEY (session, throw), 
	CONSTRAINT fk_throws_athlete FOREIGN KEY(athlete) REFERENCES athletes (athlete) ON UPDATE CASCADE, 
	CONSTRAINT fk_throws_session FOREIGN KEY(session) REFERENCES sessions (session) ON DELETE CASCADE
)
 WITHOUT ROWID

;
INSERT INTO "throws" VALUES('d467c7f0322d49e09708b68f9872910d',1,NULL,'A1','R','slider','short arm',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'felt by A1',NULL);
INSERT INTO "throws" VALUES('d467c7f0322d49e09708b68f9872910d',2,NULL,'B2','R','slider','long arm',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'felt by B2',NULL);
INSERT INTO "throws" VALUES('d467c7f0322d49e09708b68f9872910d',3,NULL,'A1','R','slider','short arm',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'felt by A1',NULL);
INSERT INTO "throws" VALUES('d467c7f0322d49e09708b68f9872910d',4,NULL,'B2','R','slider','long arm',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'felt by B2',NULL);
INSERT INTO "throws" VALUES('d467c7f0322d49e09708b68f9872910d',5,NULL,'A1','R','slider','short arm',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'felt by A1',NULL);
INSERT INTO "throws" VALUES('d467c7f0322d49e09708b68f9872910d',6,NULL,'B2','R','slider','long arm',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'felt by B2',NULL);
CREATE INDEX ix_sessions_name ON sessions (name);
CREATE INDEX ix_clips_session_created ON clips (session, created);
CREATE INDEX ix_clips_state ON clips (state);
CREATE INDEX ix_notes_athlete ON notes (athlete);
CREATE INDEX ix_notes_session ON notes (session);
CREATE INDEX ix_throws_athlete_pitch_cue ON throws (athlete, pitch, cue);
CREATE INDEX ix_throws_cue ON throws (cue);
CREATE INDEX ix_throws_pitch ON throws (pitch);
CREATE INDEX ix_facts_at ON facts (at);
CREATE INDEX ix_facts_athlete ON facts (athlete);
CREATE INDEX ix_facts_clip ON facts (clip);
CREATE INDEX ix_facts_session ON facts (session);
CREATE INDEX ix_links_clip ON links (clip);
CREATE INDEX ix_links_session_throw ON links (session, throw);
CREATE INDEX ix_measurements_clip ON measurements (clip);
CREATE INDEX ix_facts_undoes ON facts (undoes);
CREATE INDEX ix_clips_session_state ON clips (session, state);
COMMIT;
