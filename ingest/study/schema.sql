-- The study: everything that was ingested, and what people said about it. One DuckDB file.
-- Raw play logs are the truth; all but `run_notes`, `withheld`, `players`, `ratings`, `targets`, `predictions` and `build_order`
-- can be rebuilt from them at any time. Times are integer microseconds since the console's power-up. What a field of a log may
-- hold (u32 and i32) is BIGINT, and so are the numbers of power-ups, runs, stages and lives.

-- The tables of the events themselves: one for each game, kind and field signature (`kinds.table_name`).
CREATE SCHEMA events;

CREATE TABLE study (schema_version INTEGER NOT NULL);
INSERT INTO study VALUES (1);

-- One play log as received. `sha256` is of the bytes ingested; a file that has grown replaces its own capture, which
-- keeps its id and its runs' ids. `capture_key` is what notes know it by: made of its first 4 KiB, it outlives both
-- growth and a rebuild of the study.
CREATE TABLE captures (
    capture_id INTEGER, capture_key TEXT, sha256 TEXT, name TEXT, bytes BIGINT, ingested_at TIMESTAMP, received_at TIMESTAMP,
    packets BIGINT, events BIGINT,
    rejected_packets BIGINT, missing_packets BIGINT, dropped_events BIGINT, tail_bytes BIGINT,
    unread_bytes BIGINT,     -- bytes of packets that could not be read for want of a dictionary
    newer_packets BIGINT,    -- packets of a format version this Setscrew does not know
    refusal TEXT,            -- why the dictionary was refused as a whole, or NULL
    place INTEGER            -- in the order in which the captures count where nothing tells their time
);
-- Each piece of damage with its place; at most 1,000 a capture, the counts above are complete.
-- lasted_ticks: of the console's clock, between the packets around what is missing.
CREATE TABLE damage (capture_id INTEGER, byte_offset BIGINT, reason TEXT, packets BIGINT, lasted_ticks BIGINT);
-- What else is told of a capture, and what to do about it; `about` is a word of notices.py.
CREATE TABLE notices (capture_id INTEGER, byte_offset BIGINT, about TEXT, what TEXT, remedy TEXT);
CREATE TABLE power_ups (
    power_up_id BIGINT, capture_id INTEGER, number INTEGER, nonce INTEGER,
    lacks INTEGER,           -- the id (FORMAT.md, section 4) of the dictionary for want of which packets were not read
    dictionary_id INTEGER,   -- NULL: no event was read
    first_us BIGINT, last_us BIGINT,
    drift_ppm DOUBLE         -- console clock against the PC's, where arrival times were recorded
);
-- Where the clock of a power-up stood still while events went on (stopped_clock.py).
CREATE TABLE clock_stops (power_up_id BIGINT, at_us BIGINT);
CREATE TABLE dictionaries (
    dictionary_id INTEGER, game TEXT, firmware TEXT, clock_hz BIGINT, screen_width INTEGER, screen_height INTEGER,
    dictionary_text TEXT
);
-- The roles with which the runs of a capture were built. Not current: others hold by now, and its log is to be read again.
CREATE TABLE built_roles (capture_id INTEGER, dictionary_id INTEGER, roles TEXT, current BOOLEAN);
CREATE TABLE kinds (dictionary_id INTEGER, number INTEGER, kind TEXT, role TEXT, table_name TEXT);
CREATE TABLE fields (
    dictionary_id INTEGER, kind TEXT, number INTEGER, field TEXT, field_type TEXT, role TEXT, unit TEXT
);
CREATE TABLE labels (dictionary_id INTEGER, kind TEXT, field TEXT, value BIGINT, label TEXT);
-- Firmware + the values of its tunables, which `build_key` is made of. `label` is unique within a game: firmware, and a
-- letter where values differ. `place` counts the builds of a game in the order in which they were first played.
CREATE TABLE builds (
    build_id BIGINT, build_key TEXT, dictionary_id INTEGER, game TEXT, firmware TEXT, label TEXT, place INTEGER
);
-- Scope columns are NULL where the tunable holds everywhere.
CREATE TABLE tunables (
    build_id BIGINT, number INTEGER, tunable TEXT, role TEXT, value BIGINT, low BIGINT, high BIGINT, step BIGINT,
    unit TEXT, stage INTEGER, stage_kind INTEGER, song INTEGER, level INTEGER, grade INTEGER
);
CREATE TABLE all_runs (
    run_id BIGINT, capture_id INTEGER, power_up_id BIGINT, number INTEGER,    -- number: n-th run of the capture
    build_id BIGINT, logged_player BIGINT, team BOOLEAN, first_time BOOLEAN, seed BIGINT,
    start_us BIGINT, end_us BIGINT, alive_us BIGINT, ending TEXT,             -- finished, game_over, quit, cut
    deaths INTEGER, score BIGINT, rating BIGINT, start_byte BIGINT,          -- start_byte: its first packet's offset
    damaged BOOLEAN, mixed_build BOOLEAN,                                     -- mixed: a tunable changed during the run
    given_player TEXT, given_remark TEXT,                                     -- said while it was recorded (CAPTURE.md)
    began_at TIMESTAMP,                                                       -- when it came to the PC, in UTC; else NULL
    begun TEXT,                 -- seen; lost: its start was lost on the way; before: the log begins in its midst
    candidates TEXT,            -- the tags of which one may be its player's, where that is open: 'P02 or P03'
    withheld BOOLEAN            -- its player withdrew: nothing is left of it but what the tags of the other runs are read by
);
-- Power-ups that are copies of each other, each pair both ways round; `other` counts its time from `shift_us` earlier.
CREATE TABLE twins (one BIGINT, other BIGINT, shift_us BIGINT);
-- What `twins` says, told for each power-up that has copies: it is a copy of `lead`, with the time that many us later.
CREATE TABLE copies (power_up_id BIGINT, lead BIGINT, shift_us BIGINT);
-- Runs that do not count because another copy has more of them, and the run that counts for them.
CREATE TABLE set_aside (run_id BIGINT, counts_as BIGINT);
-- Of runs of which there are copies: their events, and those among them that runs are built from.
CREATE TABLE run_events (run_id BIGINT, structural BIGINT, events BIGINT);
-- One visit of a stage within a run. cleared is NULL where the visit was cut or the player quit.
CREATE TABLE stages (
    stage_id BIGINT, run_id BIGINT, visit INTEGER, stage BIGINT, stage_kind BIGINT, song BIGINT,
    start_us BIGINT, end_us BIGINT, alive_us BIGINT, cleared BOOLEAN, deaths INTEGER,
    lives_in BIGINT, tier_in BIGINT
);
-- One life. stage_id, lives_left, tier and level are those in force when it ended (lives_left: after the death).
CREATE TABLE lives (
    life_id BIGINT, run_id BIGINT, number INTEGER, stage_id BIGINT, start_us BIGINT, end_us BIGINT, alive_us BIGINT,
    died BOOLEAN, cause BIGINT, x BIGINT, y BIGINT, lives_left BIGINT, tier BIGINT, level BIGINT,
    shot_ago_us BIGINT,
    inferred BOOLEAN         -- its spawn was lost: it begins at the first sign of it, or, without one, at its death
);
-- Time alive at one stage visit, life, tier and level: the counting-process form of the same runs.
-- ended_by: death, stage_end, change (tier or level), run_end, cut, quit.
CREATE TABLE spells (
    run_id BIGINT, stage_id BIGINT, life INTEGER, tier BIGINT, level BIGINT, start_us BIGINT, end_us BIGINT,
    alive_us BIGINT, ended_by TEXT
);

-- Time alive in one cell of the screen at one stage visit, added up from the `position` events, of which each stands for
-- the time until the next, the end of the life or stage, or one second. x, y: the cell's upper left corner, in pixels;
-- cell_px: its width and height. Positions outside of a life (dead, or paused) are not in it. The compressions are named
-- so that DuckDB need not try them all.
CREATE TABLE places (
    run_id BIGINT USING COMPRESSION rle, stage_id BIGINT USING COMPRESSION rle,
    x USMALLINT USING COMPRESSION bitpacking, y USMALLINT USING COMPRESSION rle,
    cell_px USMALLINT USING COMPRESSION rle, alive_us BIGINT USING COMPRESSION bitpacking
);

-- What people say about runs and players; never rebuilt, never deleted by an ingest.
CREATE TABLE run_notes (
    capture_key TEXT, run_number INTEGER, noted_at TIMESTAMP, player TEXT, valid BOOLEAN, reason TEXT, remark TEXT
);
-- Runs that stay out whenever their log is read: which run of it, and, where that was known, from which byte up to the
-- start of the next. Not whose: there are so few tags that no code of one would hide it.
CREATE TABLE withheld (capture_key TEXT, run_number INTEGER, start_byte BIGINT, end_byte BIGINT);
CREATE TABLE players (player TEXT, player_group TEXT, team BOOLEAN, first_time BOOLEAN);
-- How the people who played were found: audience, volunteers, friends, unknown (analysis/tuning/TARGETS.md).
CREATE TABLE testers (noted_at TIMESTAMP, found TEXT);
CREATE TABLE ratings (player TEXT, game TEXT, attempt INTEGER, rating DOUBLE);
CREATE TABLE targets (noted_at TIMESTAMP, game TEXT, target_toml TEXT);
CREATE TABLE predictions (
    noted_at TIMESTAMP, game TEXT, build_label TEXT, fingerprint TEXT, prediction_json TEXT, build_key TEXT
);
-- Which of two builds was played first, by their keys; of two that contradict each other the newer one holds.
CREATE TABLE build_order (noted_at TIMESTAMP, game TEXT, earlier TEXT, later TEXT);
-- Corrections of roles in all logs of a game: `what` is kind, field (its name is kind.field) or tunable; role NULL: none.
-- `kinds`, `fields` and `tunables` hold the roles as corrected, `dictionaries.dictionary_text` those that the log told.
CREATE TABLE role_notes (noted_at TIMESTAMP, game TEXT, what TEXT, name TEXT, role TEXT);
-- The authors' own words for the report (title, question, consent and so on) as a JSON object; the newest one holds.
CREATE TABLE report_words (noted_at TIMESTAMP, words_json TEXT);

-- Runs as every reader sees them: player tag, attempts counted, notes applied.
-- A run without a tag counts as a player of its own ('?' and its place), because nothing says otherwise.
-- Of copies of one run only the one that has more of it is here; what was said of the others is said of it too.
-- A run is open where it may be of several players, or where its start was lost and other runs of the capture have tags:
-- it counts for nobody until somebody says whose it was.
-- A run of which nobody knows how long it was, because the console's clock stood still in it, is not valid unless somebody
-- says so: it would count as one that was over at once.
-- Attempts are counted in the order of the captures' places, in which the runs whose time is known change places among
-- themselves until they stand in the order of their times.
CREATE VIEW runs AS
WITH noted AS (
    SELECT coalesce(a.counts_as, r.run_id) AS run_id,
        last(player ORDER BY noted_at) FILTER (player IS NOT NULL) AS player,
        last(valid ORDER BY noted_at) FILTER (valid IS NOT NULL) AS valid,
        last(reason ORDER BY noted_at) FILTER (reason IS NOT NULL) AS reason,
        string_agg(remark, '; ' ORDER BY noted_at) AS remark
    FROM run_notes n JOIN captures c USING (capture_key) JOIN all_runs r ON r.capture_id = c.capture_id AND r.number = n.run_number
    LEFT JOIN set_aside a USING (run_id)
    GROUP BY ALL
), copied AS (
    SELECT a.counts_as AS run_id, min(r.given_player) AS given_player, min(r.given_remark) AS given_remark,
        min(r.began_at) AS began_at
    FROM set_aside a JOIN all_runs r USING (run_id) GROUP BY ALL
), timeless AS (
    SELECT run_id FROM all_runs WHERE end_us <= start_us AND begun = 'seen' AND (deaths > 0 OR ending <> 'cut')
    UNION SELECT run_id FROM all_runs r JOIN clock_stops s USING (power_up_id) WHERE s.at_us BETWEEN r.start_us AND r.end_us
), tagged AS (
    SELECT r.* EXCLUDE (given_player, given_remark, began_at, candidates), b.game, b.label AS build, b.build_key,
        coalesce(r.began_at, o.began_at) AS began_at, coalesce(r.began_at, o.began_at) IS NOT NULL AS timed,
        c.sha256, row_number() OVER (ORDER BY l.place, p.number, r.start_us - coalesce(k.shift_us, 0), r.number, c.place) AS turn_of_all,
        coalesce(n.player, r.given_player, o.given_player, CASE WHEN r.logged_player > 0 THEN format('P{:02d}', r.logged_player) END) AS told,
        n.player IS NULL AND o.given_player IS NULL AND (r.candidates IS NOT NULL
            OR (r.begun <> 'seen' AND told IS NULL AND bool_or(told IS NOT NULL) OVER (PARTITION BY r.capture_id))) AS open,
        CASE WHEN NOT open THEN told END AS tag,
        coalesce(tag, '?' || turn_of_all) AS player,
        coalesce(r.candidates, '') AS candidates,
        coalesce(n.valid, t.run_id IS NULL) AS valid,
        coalesce(n.reason, CASE WHEN n.valid IS NULL AND t.run_id IS NOT NULL THEN 'the console''s clock stood still' END)
            AS invalid_reason,
        nullif(concat_ws('; ', coalesce(r.given_remark, o.given_remark), n.remark), '') AS remark
    FROM all_runs r
    JOIN builds b USING (build_id)
    JOIN captures c USING (capture_id)
    -- Runs of copies are in the order of time among each other, whichever copy they count from.
    LEFT JOIN copies k USING (power_up_id)
    JOIN power_ups p ON p.power_up_id = coalesce(k.lead, r.power_up_id)
    JOIN captures l ON l.capture_id = p.capture_id
    LEFT JOIN timeless t USING (run_id)
    LEFT JOIN noted n USING (run_id)
    LEFT JOIN copied o USING (run_id)
    ANTI JOIN set_aside a USING (run_id)
    WHERE NOT r.withheld
), counted AS (
    SELECT *, row_number() OVER (PARTITION BY game, player ORDER BY turn_of_all) AS placed,
        row_number() OVER (PARTITION BY game, player, timed ORDER BY began_at, turn_of_all) AS turn
    FROM tagged
)
SELECT t.* EXCLUDE (tag, told, withheld, player, team, first_time, began_at, timed, placed, turn, turn_of_all),
    t.player, t.tag IS NOT NULL AS tagged,
    coalesce(p.team, t.team, false) AS team,
    coalesce(p.first_time, t.first_time) AS first_time,
    p.player_group,
    t.began_at AS played_at, t.turn_of_all AS place,
    nth_value(t.placed, t.turn) OVER (
        PARTITION BY t.game, t.player, t.timed ORDER BY t.turn_of_all
        ROWS BETWEEN UNBOUNDED PRECEDING AND UNBOUNDED FOLLOWING
    ) AS attempt
FROM counted t LEFT JOIN players p ON p.player = t.tag;
