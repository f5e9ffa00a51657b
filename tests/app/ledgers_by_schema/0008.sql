BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0008');
CREATE TABLE api_keys (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	scope TEXT NOT NULL CONSTRAINT ck_api_keys_scope CHECK (scope IN ('read', 'write')), 
	secret_sha256 TEXT NOT NULL, 
	created_at DATETIME NOT NULL, 
	revoked_at DATETIME, expires_at DATETIME, last_used_at DATETIME, 
	CONSTRAINT pk_api_keys PRIMARY KEY (id)
);
INSERT INTO "api_keys" VALUES('till','till','write','1212121212121212121212121212121212121212121212121212121212121212','2026-11-27 12:30:00.000000',NULL,'2027-11-27 00:00:00.000000','2026-11-27 12:30:00.000000');
INSERT INTO "api_keys" VALUES('left','who left','read','3434343434343434343434343434343434343434343434343434343434343434','2026-11-27 12:30:00.000000','2026-11-27 12:30:00.000000',NULL,NULL);
CREATE TABLE doubts (
	shipment INTEGER NOT NULL, 
	position INTEGER NOT NULL, 
	corrected_revision INTEGER NOT NULL, 
	line INTEGER, 
	"column" TEXT NOT NULL, 
	code TEXT NOT NULL, 
	text TEXT NOT NULL, 
	chance DOUBLE, 
	CONSTRAINT pk_doubts PRIMARY KEY (shipment, position), 
	CONSTRAINT fk_doubts_shipment FOREIGN KEY(shipment) REFERENCES shipments (number) ON DELETE CASCADE
);
INSERT INTO "doubts" VALUES(2,0,6,0,'healthy','swapped','healthy and dead may be swapped',0.8);
CREATE TABLE events (
	shipment INTEGER NOT NULL, 
	position INTEGER NOT NULL, 
	at DATETIME NOT NULL, 
	kind TEXT NOT NULL, 
	note TEXT DEFAULT '' NOT NULL, 
	CONSTRAINT pk_events PRIMARY KEY (shipment, position), 
	CONSTRAINT uq_events_shipment UNIQUE (shipment, at, kind, note), 
	CONSTRAINT fk_events_shipment FOREIGN KEY(shipment) REFERENCES shipments (number) ON DELETE CASCADE
);
INSERT INTO "events" VALUES(4,0,'2026-11-27 12:30:00.000000','departed','');
CREATE TABLE forecasts (
	shipment INTEGER NOT NULL, 
	model_version TEXT NOT NULL, 
	seed BIGINT NOT NULL, 
	answer_json TEXT NOT NULL, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_forecasts PRIMARY KEY (shipment), 
	CONSTRAINT fk_forecasts_shipment FOREIGN KEY(shipment) REFERENCES shipments (number) ON DELETE CASCADE
);
INSERT INTO "forecasts" VALUES(3,'fit-1',1099511627776,'{"routes": []}','2026-11-27 12:30:00.000000');
CREATE TABLE idempotency_keys (
	"key" TEXT NOT NULL, 
	body_sha256 TEXT NOT NULL, 
	status INTEGER, 
	headers_json TEXT, 
	answer BLOB, 
	created_at DATETIME NOT NULL, 
	CONSTRAINT pk_idempotency_keys PRIMARY KEY ("key")
);
INSERT INTO "idempotency_keys" VALUES('first','abababababababababababababababababababababababababababababababab',201,'{}',X'7B226964223A20317D','2026-11-27 12:30:00.000000');
INSERT INTO "idempotency_keys" VALUES('under way','cdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcd',NULL,NULL,NULL,'2026-11-27 12:30:00.000000');
CREATE TABLE ledger (
	id INTEGER NOT NULL CONSTRAINT ck_ledger_one_row CHECK (id = 1), 
	revision INTEGER NOT NULL, 
	last_number INTEGER NOT NULL, held_at DATETIME, 
	CONSTRAINT pk_ledger PRIMARY KEY (id)
);
INSERT INTO "ledger" VALUES(1,9,4,'2026-11-27 12:30:00.000000');
CREATE TABLE lines (
	shipment INTEGER NOT NULL, 
	position INTEGER NOT NULL, 
	genus TEXT NOT NULL, 
	cultivar TEXT, 
	quantity INTEGER CONSTRAINT ck_lines_quantity CHECK (quantity >= 0), 
	sent INTEGER CONSTRAINT ck_lines_sent CHECK (sent >= 0), 
	healthy INTEGER CONSTRAINT ck_lines_healthy CHECK (healthy >= 0), 
	damaged INTEGER CONSTRAINT ck_lines_damaged CHECK (damaged >= 0), 
	dead INTEGER CONSTRAINT ck_lines_dead CHECK (dead >= 0), 
	unit_cost DOUBLE, 
	sale_value DOUBLE, 
	note TEXT DEFAULT '' NOT NULL, 
	recheck_healthy INTEGER CONSTRAINT ck_lines_recheck_healthy CHECK (recheck_healthy >= 0), 
	recheck_damaged INTEGER CONSTRAINT ck_lines_recheck_damaged CHECK (recheck_damaged >= 0), 
	recheck_dead INTEGER CONSTRAINT ck_lines_recheck_dead CHECK (recheck_dead >= 0), 
	recheck_gone INTEGER CONSTRAINT ck_lines_recheck_gone CHECK (recheck_gone >= 0), 
	CONSTRAINT pk_lines PRIMARY KEY (shipment, position), 
	CONSTRAINT ck_lines_sum CHECK (healthy + damaged + dead = sent), 
	CONSTRAINT ck_lines_parts CHECK (healthy <= sent AND damaged <= sent AND dead <= sent), 
	CONSTRAINT fk_lines_shipment FOREIGN KEY(shipment) REFERENCES shipments (number) ON DELETE CASCADE
);
INSERT INTO "lines" VALUES(1,0,'Hoya','No. 1',NULL,20,15,3,2,4.25,19.0,'',NULL,NULL,NULL,NULL);
INSERT INTO "lines" VALUES(1,1,'Inventia',NULL,NULL,7,7,0,0,NULL,NULL,'',NULL,NULL,NULL,NULL);
INSERT INTO "lines" VALUES(2,0,'Begonia',NULL,6,5,4,1,0,NULL,NULL,'small',3,0,1,1);
INSERT INTO "lines" VALUES(3,0,'Calathea',NULL,9,NULL,NULL,NULL,NULL,NULL,NULL,'',NULL,NULL,NULL,NULL);
CREATE TABLE logger_readings (
	shipment INTEGER NOT NULL, 
	at DATETIME NOT NULL, 
	inside_c DOUBLE NOT NULL, 
	CONSTRAINT pk_logger_readings PRIMARY KEY (shipment, at), 
	CONSTRAINT fk_logger_readings_shipment FOREIGN KEY(shipment) REFERENCES shipments (number) ON DELETE CASCADE
);
INSERT INTO "logger_readings" VALUES(1,'2026-11-03 00:00:00.000000',19.0);
INSERT INTO "logger_readings" VALUES(1,'2026-11-05 00:00:00.000000',18.0);
INSERT INTO "logger_readings" VALUES(1,'2026-11-08 00:00:00.000000',24.5);
CREATE TABLE model_versions (
	version TEXT NOT NULL, 
	manifest_json TEXT NOT NULL, 
	arrays BLOB NOT NULL, 
	ledger_revision INTEGER NOT NULL, 
	active BOOLEAN DEFAULT false NOT NULL, 
	created_at DATETIME NOT NULL, passed BOOLEAN, 
	CONSTRAINT pk_model_versions PRIMARY KEY (version)
);
INSERT INTO "model_versions" VALUES('fit-1','{}',X'0001FF',7,1,'2026-11-27 12:30:00.000000',1);
INSERT INTO "model_versions" VALUES('fit-0','{}',X'00',4,0,'2026-11-27 12:30:00.000000',NULL);
CREATE TABLE quick_updates (
	version TEXT NOT NULL, 
	revision INTEGER NOT NULL, 
	claimed_at DATETIME NOT NULL, 
	found_json TEXT, 
	draws BLOB, 
	CONSTRAINT pk_quick_updates PRIMARY KEY (version, revision)
);
INSERT INTO "quick_updates" VALUES('fit-1',8,'2026-11-27 12:30:00.000000','{}',X'934E554D5059');
CREATE TABLE refits (
	id TEXT NOT NULL, 
	state TEXT NOT NULL CONSTRAINT ck_refits_state CHECK (state IN ('queued', 'running', 'activated', 'kept', 'failed')), 
	version TEXT, 
	reason TEXT, 
	created_at DATETIME NOT NULL, 
	started_at DATETIME, 
	seen_at DATETIME, 
	finished_at DATETIME, ledger_revision INTEGER, by_itself BOOLEAN, 
	CONSTRAINT pk_refits PRIMARY KEY (id), 
	CONSTRAINT fk_refits_version FOREIGN KEY(version) REFERENCES model_versions (version)
);
INSERT INTO "refits" VALUES('done','activated','fit-1',NULL,'2026-11-27 12:30:00.000000','2026-11-27 12:30:00.000000','2026-11-27 12:30:00.000000','2026-11-27 12:30:00.000000',7,1);
INSERT INTO "refits" VALUES('stopped','failed',NULL,'the server stopped','2026-11-27 12:30:00.000000',NULL,NULL,NULL,NULL,NULL);
CREATE TABLE sellers (
	"key" TEXT NOT NULL, 
	name TEXT NOT NULL, 
	kind TEXT, 
	country TEXT, 
	notes TEXT DEFAULT '' NOT NULL, 
	revision INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	updated_at DATETIME NOT NULL, recourse TEXT, packing_json TEXT, answers_json TEXT, 
	CONSTRAINT pk_sellers PRIMARY KEY ("key")
);
INSERT INTO "sellers" VALUES('jardín ficticio','Jardín Ficticio','grower','CR','''best''',3,'2026-11-27 12:30:00.000000','2026-11-27 12:30:00.000000','refund','{"container": "foam_box"}','{}');
CREATE TABLE shipment_history (
	shipment INTEGER NOT NULL, 
	revision INTEGER NOT NULL, 
	reason TEXT NOT NULL, 
	snapshot_json TEXT NOT NULL, 
	replaced_at DATETIME NOT NULL, 
	CONSTRAINT pk_shipment_history PRIMARY KEY (shipment, revision), 
	CONSTRAINT fk_shipment_history_shipment FOREIGN KEY(shipment) REFERENCES shipments (number) ON DELETE CASCADE
);
INSERT INTO "shipment_history" VALUES(1,1,'corrected','{"shipments": []}','2026-11-27 12:30:00.000000');
CREATE TABLE shipments (
	number INTEGER NOT NULL, 
	id TEXT NOT NULL, 
	reference TEXT, 
	state TEXT NOT NULL CONSTRAINT ck_shipments_state CHECK (state IN ('planned', 'in_transit', 'arrived', 'lost')), 
	revision INTEGER NOT NULL, 
	seller TEXT, 
	seller_kind TEXT, 
	service TEXT NOT NULL, 
	origin TEXT NOT NULL, 
	destination TEXT NOT NULL, 
	container TEXT NOT NULL, 
	roots TEXT NOT NULL, 
	heat_pack_hours DOUBLE NOT NULL, 
	heat_packs INTEGER CONSTRAINT ck_shipments_heat_packs CHECK (heat_packs >= 0), 
	cold_packs INTEGER CONSTRAINT ck_shipments_cold_packs CHECK (cold_packs >= 0), 
	ship_date DATE NOT NULL, 
	departed_at DATETIME, 
	arrival_date DATE, 
	arrived_at DATETIME, 
	opened_at DATETIME, 
	inside_temp_c DOUBLE, 
	currency TEXT, 
	recheck_date DATE, 
	rechecked_at DATETIME, 
	plan_json TEXT, 
	arrived_revision INTEGER, 
	corrected_revision INTEGER, 
	created_at DATETIME NOT NULL, 
	updated_at DATETIME NOT NULL, arrival_notes TEXT, photos_json TEXT, recheck_notes TEXT, claim_outcome TEXT, claim_amount DOUBLE, claim_settled_on DATE, inside_min_c DOUBLE, inside_max_c DOUBLE, confirmed_revision INTEGER, checked_revision INTEGER, lost_chance DOUBLE, 
	CONSTRAINT pk_shipments PRIMARY KEY (number), 
	CONSTRAINT ck_shipments_arrived_on_a_date CHECK (state <> 'arrived' OR arrival_date IS NOT NULL), 
	CONSTRAINT uq_shipments_id UNIQUE (id), 
	CONSTRAINT uq_shipments_reference UNIQUE (reference), 
	CONSTRAINT fk_shipments_seller FOREIGN KEY(seller) REFERENCES sellers ("key")
);
INSERT INTO "shipments" VALUES(1,'s-one','A-1','arrived',2,'jardín ficticio',NULL,'courier','SRG','GLA','foam_box','damp_wrap',72.0,1,NULL,'2026-11-02',NULL,'2026-11-09','2026-11-09 14:05:00.000000',NULL,20.5,'GBP',NULL,NULL,NULL,5,6,'2026-11-27 12:30:00.000000','2026-11-27 12:30:00.000000','one corner wet','["box.jpg"]',NULL,NULL,NULL,NULL,18.0,24.5,6,6,0.03);
INSERT INTO "shipments" VALUES(2,'s-two','A-2','arrived',2,NULL,NULL,'courier','SRG','GLA','foam_box','damp_wrap',72.0,1,1,'2026-11-02',NULL,'2026-11-09','2026-11-09 14:05:00.000000','2026-11-09 15:00:00.000000',20.5,'GBP','2026-11-23','2026-11-27 12:30:00.000000',NULL,5,6,'2026-11-27 12:30:00.000000','2026-11-27 12:30:00.000000','one corner wet','["box.jpg"]','two rotted','refunded',12.5,'2026-11-25',NULL,NULL,NULL,6,0.03);
INSERT INTO "shipments" VALUES(3,'s-three',NULL,'planned',2,NULL,'grower','courier','SRG','GLA','foam_box','damp_wrap',72.0,1,NULL,'2026-11-02',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'{"lines": []}',NULL,NULL,'2026-11-27 12:30:00.000000','2026-11-27 12:30:00.000000',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "shipments" VALUES(4,'s-four',NULL,'lost',2,NULL,NULL,'courier','SRG','GLA','foam_box','damp_wrap',72.0,1,NULL,'2026-11-02','2026-11-27 12:30:00.000000',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-11-27 12:30:00.000000','2026-11-27 12:30:00.000000',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE INDEX ix_idempotency_keys_created_at ON idempotency_keys (created_at);
CREATE UNIQUE INDEX ix_model_versions_one_active ON model_versions (active) WHERE active;
CREATE INDEX ix_shipments_arrived_revision ON shipments (arrived_revision);
CREATE INDEX ix_shipments_state_number ON shipments (state, number);
CREATE INDEX ix_refits_state ON refits (state);
CREATE INDEX ix_shipments_corrected_revision ON shipments (corrected_revision);
COMMIT;
