"""The comparable part of a report in DuckDB or Polars, as a page of JSON.

    others.py duckdb|polars load|tables STUDY WORK
    others.py run PROGRAM ARGUMENT...

`load` reads the study's CSV files, checks types, drops exact duplicates and writes sorted Parquet into WORK.
`tables` makes from them: pairs, accuracy, survival, delay, night coverage. The rules are the plain ones of
pipeline/docs/definitions.md: no detector of artefacts, no intervals, no tests. Times stay local, as they are
written, so that a night in which the clock changes may count otherwise. `run` runs a program and tells what it took.
"""

import glob
import json
import os
import resource
import subprocess
import sys
import time
import tomllib

RATED = {"model M": 10.0}
RATED_DAYS, WARMUP_HOURS, PAIRING_MINUTES = 14.0, 1, 5
NIGHT_FROM, NIGHT_TO, COVERAGE = 23, 7, 0.70
LOST = ("fell-off", "knocked-off", "lifted")
SURVIVAL_DAY = 10.0
MMOL = 18.0156
ORDERS = {"readings": "wearer, sensor, time", "fingersticks": "wearer, time", "wear-events": "wearer, time"}
GLUCOSE = f"CAST(glucose AS DOUBLE) * CASE unit WHEN 'mmol/L' THEN {MMOL} ELSE 1 END AS glucose"
TIME = "CAST(LEFT(time, 16) AS TIMESTAMP) AS time"
COLUMNS = {
    "readings": f"COALESCE(wearer, '{{wearer}}') AS wearer, sensor, {TIME}, {GLUCOSE}, status",
    "fingersticks": f"COALESCE(wearer, '{{wearer}}') AS wearer, {TIME}, {GLUCOSE}, meter, purpose",
}


def wearer_of(study):
    """Whose rows those without a wearer are."""
    with open(f"{study}/study.toml", "rb") as file:
        return tomllib.load(file)["study"]["wearer"]


class Duckdb:
    def __init__(self, work):
        import duckdb

        self.version = duckdb.__version__
        self.db = duckdb.connect()
        self.db.execute("SET preserve_insertion_order = false")
        self.work = work

    def load(self, study):
        for table, order in ORDERS.items():
            columns = COLUMNS.get(table, f"* REPLACE ({TIME})")
            self.db.execute(
                f"""COPY (
                    SELECT DISTINCT {columns.format(wearer=wearer_of(study))}
                    FROM read_csv('{study}/{table}/*.csv', header = true, union_by_name = true, types = {{'time': 'VARCHAR'}})
                    ORDER BY {order}
                ) TO '{self.work}/{table}.parquet' (FORMAT parquet)"""
            )

    def tables(self):
        run = self.db.execute
        for name, file in (("readings", "readings"), ("fingersticks", "fingersticks"), ("events", "wear-events")):
            run(f"CREATE VIEW {name} AS SELECT * FROM '{self.work}/{file}.parquet'")
        rated = " ".join(f"WHEN '{model}' THEN {days}" for model, days in RATED.items())
        run(
            f"""CREATE TABLE sessions AS
            WITH last AS (SELECT wearer, sensor, MAX(time) AS last_reading FROM readings GROUP BY ALL),
            ends AS (SELECT wearer, sensor, time AS ended, cause FROM events WHERE event = 'end'),
            cutoff AS (
                SELECT MAX(time) AS cutoff
                FROM (SELECT MAX(time) AS time FROM readings UNION ALL SELECT MAX(time) FROM events UNION ALL SELECT MAX(time) FROM fingersticks)
            )
            SELECT
                i.wearer, i.sensor, i.site, i.time AS inserted, e.cause,
                i.time + INTERVAL {WARMUP_HOURS} HOUR AS warm_from,
                COALESCE(e.ended, c.cutoff) AS worn_until,
                COALESCE(e.ended, l.last_reading, i.time) AS seen_until,
                CASE i.model {rated} ELSE {RATED_DAYS} END AS rated_days
            FROM events AS i
            CROSS JOIN cutoff AS c
            LEFT JOIN ends AS e USING (wearer, sensor)
            LEFT JOIN last AS l USING (wearer, sensor)
            WHERE i.event = 'insert'"""
        )
        run(
            f"""CREATE TABLE checks AS
            SELECT ROW_NUMBER() OVER () AS number, s.wearer, s.sensor, s.site, f.time, f.glucose AS fingerstick
            FROM fingersticks AS f
            JOIN sessions AS s ON s.wearer = f.wearer AND f.time BETWEEN s.inserted AND s.worn_until
            WHERE COALESCE(f.purpose, '') NOT IN ('calibration', 'control')"""
        )
        run(
            """CREATE VIEW warm AS
            SELECT r.wearer, r.sensor, r.time, r.glucose
            FROM readings AS r
            JOIN sessions AS s ON s.wearer = r.wearer AND s.sensor = r.sensor
            WHERE r.status = 'ok' AND r.time >= s.warm_from AND r.time <= s.worn_until"""
        )
        run(
            f"""CREATE TABLE pairs AS
            WITH near AS (
                SELECT c.*, w.time AS reading_time, w.glucose AS reading
                FROM checks AS c ASOF JOIN warm AS w ON w.wearer = c.wearer AND w.sensor = c.sensor AND c.time >= w.time
                UNION ALL
                SELECT c.*, w.time AS reading_time, w.glucose AS reading
                FROM checks AS c ASOF JOIN warm AS w ON w.wearer = c.wearer AND w.sensor = c.sensor AND c.time <= w.time
            )
            SELECT *, reading - fingerstick AS difference
            FROM near
            WHERE ABS(epoch(reading_time - time)) <= {PAIRING_MINUTES * 60}
            QUALIFY ROW_NUMBER() OVER (PARTITION BY number ORDER BY ABS(epoch(reading_time - time)), reading_time) = 1"""
        )
        accuracy = run(
            """SELECT site, COUNT(*), AVG(difference), AVG(ABS(difference) / fingerstick),
                AVG(CASE WHEN CASE WHEN fingerstick < 100 THEN ABS(difference) <= 20 ELSE ABS(difference) <= 0.2 * fingerstick END THEN 1 ELSE 0 END)
            FROM pairs GROUP BY site ORDER BY site"""
        ).fetchall()
        survival = run(
            f"""WITH lives AS (
                SELECT site, LEAST(epoch(seen_until - inserted) / 86400, rated_days) AS day,
                    CASE WHEN cause IN {LOST} AND epoch(seen_until - inserted) / 86400 <= rated_days THEN 1 ELSE 0 END AS event
                FROM sessions
            ),
            days AS (SELECT site, day, SUM(event) AS events, COUNT(*) AS ended FROM lives GROUP BY ALL),
            risk AS (
                SELECT site, day, events,
                    SUM(ended) OVER (PARTITION BY site ORDER BY day DESC) AS at_risk
                FROM days
            )
            SELECT site, PRODUCT(1 - events / at_risk) FROM risk WHERE day <= {SURVIVAL_DAY} GROUP BY site ORDER BY site"""
        ).fetchall()
        delay = run(
            """WITH near AS (
                SELECT p.number, p.site, p.sensor, p.wearer, p.fingerstick, w.glucose, epoch(w.time - p.time) / 60 AS minutes
                FROM (SELECT *, UNNEST([-1, 0, 1]) + CAST(FLOOR(epoch(time) / 2700) AS BIGINT) AS bucket FROM pairs) AS p
                JOIN (SELECT *, CAST(FLOOR(epoch(time) / 2700) AS BIGINT) AS bucket FROM warm) AS w
                    ON w.wearer = p.wearer AND w.sensor = p.sensor AND w.bucket = p.bucket
                WHERE ABS(epoch(w.time - p.time)) <= 2700
            ),
            points AS (
                SELECT site, wearer, sensor, number, ANY_VALUE(fingerstick) / AVG(glucose) AS ratio,
                    REGR_SLOPE(glucose, minutes) / AVG(glucose) AS slope
                FROM near GROUP BY ALL HAVING COUNT(*) >= 5
            ),
            centred AS (
                SELECT site, ratio - AVG(ratio) OVER s AS ratio, slope - AVG(slope) OVER s AS slope
                FROM points WINDOW s AS (PARTITION BY wearer, sensor)
            )
            SELECT site, COUNT(*), REGR_SLOPE(ratio, slope) FROM centred GROUP BY site ORDER BY site"""
        ).fetchall()
        coverage = run(
            f"""WITH seen AS (
                SELECT s.site, r.wearer, r.sensor, r.time,
                    epoch(r.time - LAG(r.time) OVER (PARTITION BY r.wearer, r.sensor ORDER BY r.time)) / 60 AS step,
                    r.status IN ('ok', 'low', 'high') AS counts
                FROM readings AS r
                JOIN sessions AS s ON s.wearer = r.wearer AND s.sensor = r.sensor
                WHERE r.time >= s.inserted AND r.time <= s.worn_until
            ),
            spacing AS (SELECT wearer, sensor, MEDIAN(step) AS spacing FROM seen GROUP BY ALL),
            nights AS (
                SELECT site, wearer, sensor, CAST(time - INTERVAL {NIGHT_TO} HOUR AS DATE) AS night, COUNT(*) AS readings
                FROM seen
                WHERE counts AND (EXTRACT(hour FROM time) >= {NIGHT_FROM} OR EXTRACT(hour FROM time) < {NIGHT_TO})
                GROUP BY ALL
            )
            SELECT site, SUM(CASE WHEN readings * spacing / {(24 - NIGHT_FROM + NIGHT_TO) * 60} >= {COVERAGE} - 1e-9 THEN 1 ELSE 0 END)
            FROM nights JOIN spacing USING (wearer, sensor) GROUP BY site ORDER BY site"""
        ).fetchall()
        return accuracy, survival, delay, coverage


class Polars:
    def __init__(self, work):
        import polars

        self.version = polars.__version__
        self.pl = polars
        self.work = work

    def load(self, study):
        pl = self.pl
        for table, order in ORDERS.items():
            files = sorted(glob.glob(f"{study}/{table}/*.csv"))
            typed = {"time": pl.String, "glucose": pl.Float64} if table in COLUMNS else {}
            rows = [pl.scan_csv(file, schema_overrides=typed, infer_schema=table not in COLUMNS) for file in files]
            rows = pl.concat(rows, how="diagonal_relaxed")
            rows = rows.with_columns(pl.col("time").str.slice(0, 16).str.to_datetime("%Y-%m-%dT%H:%M", time_unit="us", strict=False))
            if table in COLUMNS:
                factor = pl.when(pl.col("unit") == "mmol/L").then(MMOL).otherwise(1.0)
                rows = rows.with_columns(pl.col("wearer").fill_null(wearer_of(study)), pl.col("glucose") * factor)
            if table == "readings":
                rows = rows.select("wearer", "sensor", "time", "glucose", "status")
            rows.unique().sort(order.split(", ")).sink_parquet(f"{self.work}/{table}.parquet")

    def tables(self):
        pl = self.pl
        read = lambda name: pl.scan_parquet(f"{self.work}/{name}.parquet")
        readings, checks, events = read("readings"), read("fingersticks"), read("wear-events").collect().lazy()
        sensor = ["wearer", "sensor"]
        last = readings.group_by(sensor).agg(pl.col("time").max().alias("last_reading")).collect().lazy()
        latest = [rows.select(pl.col("time").max()).collect().item() for rows in (readings, checks, events)]
        ends = events.filter(event="end").select(*sensor, pl.col("time").alias("ended"), "cause")
        rated = pl.col("model").replace_strict(RATED, default=RATED_DAYS, return_dtype=pl.Float64)
        sessions = (
            events.filter(event="insert")
            .select(*sensor, "site", pl.col("time").alias("inserted"), rated.alias("rated_days"))
            .join(ends, on=sensor, how="left")
            .join(last, on=sensor, how="left")
            .with_columns(
                (pl.col("inserted") + pl.duration(hours=WARMUP_HOURS)).alias("warm_from"),
                pl.col("ended").fill_null(max(latest)).alias("worn_until"),
                pl.coalesce("ended", "last_reading", "inserted").alias("seen_until"),
            )
            .collect()
            .lazy()
        )
        warm = (
            readings.filter(status="ok")
            .join(sessions.select(*sensor, "warm_from", "worn_until"), on=sensor)
            .filter(pl.col("time").is_between("warm_from", "worn_until"))
            .select(*sensor, "time", "glucose")
            .sort("time")
            .collect()
            .lazy()
        )
        worn = (
            checks.filter(~pl.col("purpose").fill_null("").is_in(["calibration", "control"]))
            .select("wearer", "time", pl.col("glucose").alias("fingerstick"))
            .join(sessions.select(*sensor, "site", "inserted", "worn_until"), on="wearer")
            .filter(pl.col("time").is_between("inserted", "worn_until"))
            .select(*sensor, "site", "time", "fingerstick")
            .sort("time")
        )
        nearest = warm.with_columns(pl.col("time").alias("reading_time")).rename({"glucose": "reading"})
        pairs = (
            worn.join_asof(nearest, on="time", by=sensor, strategy="nearest", tolerance=f"{PAIRING_MINUTES}m", check_sortedness=False)
            .filter(pl.col("reading").is_not_null())
            .with_columns((pl.col("reading") - pl.col("fingerstick")).alias("difference"))
            .with_row_index("number")
            .collect()
            .lazy()
        )
        size, level = pl.col("difference").abs(), pl.col("fingerstick")
        close = pl.when(level < 100).then(size <= 20).otherwise(size <= 0.2 * level)
        accuracy = pairs.group_by("site").agg(
            pl.len(), pl.col("difference").mean(), (size / level).mean().alias("mard"), close.mean().alias("close")
        )
        days = (pl.col("seen_until") - pl.col("inserted")).dt.total_microseconds() / 86.4e9
        survival = (
            sessions.select(
                "site",
                pl.min_horizontal(days, "rated_days").alias("day"),
                (pl.col("cause").is_in(LOST) & (days <= pl.col("rated_days"))).fill_null(False).alias("event"),
            )
            .group_by("site", "day")
            .agg(pl.col("event").sum(), pl.len().alias("ended"))
            .sort("site", "day")
            .with_columns(pl.col("ended").reverse().cum_sum().reverse().over("site").alias("at_risk"))
            .filter(pl.col("day") <= SURVIVAL_DAY)
            .group_by("site")
            .agg((1 - pl.col("event") / pl.col("at_risk")).product().alias("survival"))
        )
        bucket = pl.col("time").dt.epoch("s") // 2700
        minutes = (pl.col("time_right") - pl.col("time")).dt.total_seconds() / 60
        slope = pl.cov("glucose", "minutes") / pl.col("minutes").var()
        centred = lambda name: pl.col(name) - pl.col(name).mean().over(sensor)
        delay = (
            pairs.with_columns(pl.concat_list(bucket - 1, bucket, bucket + 1).alias("bucket"))
            .explode("bucket")
            .join(warm.with_columns(bucket.alias("bucket")), on=[*sensor, "bucket"])
            .with_columns(minutes.alias("minutes"))
            .filter(pl.col("minutes").abs() <= 45)
            .group_by("site", *sensor, "number")
            .agg(
                (pl.col("fingerstick").first() / pl.col("glucose").mean()).alias("ratio"),
                (slope / pl.col("glucose").mean()).alias("slope"),
                pl.len().alias("readings"),
            )
            .filter(pl.col("readings") >= 5)
            .with_columns(centred("ratio"), centred("slope"))
            .group_by("site")
            .agg(pl.len(), pl.cov("ratio", "slope") / pl.col("slope").var())
        )
        seen = (
            readings.join(sessions.select(*sensor, "site", "inserted", "worn_until"), on=sensor)
            .filter(pl.col("time").is_between("inserted", "worn_until"))
            .select(*sensor, "site", "time", "status")
            .sort(*sensor, "time")
        )
        spacing = seen.group_by(sensor).agg((pl.col("time").diff().dt.total_seconds() / 60).median().alias("spacing"))
        hour = pl.col("time").dt.hour()
        nights = (
            seen.filter(pl.col("status").is_in(["ok", "low", "high"]) & ((hour >= NIGHT_FROM) | (hour < NIGHT_TO)))
            .with_columns((pl.col("time") - pl.duration(hours=NIGHT_TO)).dt.date().alias("night"))
            .group_by("site", *sensor, "night")
            .agg(pl.len().alias("readings"))
        )
        share = pl.col("readings") * pl.col("spacing") / ((24 - NIGHT_FROM + NIGHT_TO) * 60)
        coverage = nights.join(spacing, on=sensor).group_by("site").agg((share >= COVERAGE - 1e-9).sum())
        frames = pl.collect_all([accuracy, survival, delay, coverage])
        return [sorted(frame.rows()) for frame in frames]


def run(arguments):
    """What a program takes."""
    began = time.perf_counter()
    done = subprocess.run(arguments, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    wall, used = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode != 0:
        sys.exit(done.stderr.decode(errors="replace"))
    return {"wall": wall, "processor": used.ru_utime + used.ru_stime, "peak_mb": used.ru_maxrss / 1024}


def other(engine, what, study, work):
    """What one of the others takes, and its tables."""
    os.makedirs(work, exist_ok=True)
    began, used = time.perf_counter(), time.process_time()
    with_engine = {"duckdb": Duckdb, "polars": Polars}[engine](work)
    found = with_engine.load(study) if what == "load" else with_engine.tables()
    return {
        "version": with_engine.version,
        "wall": time.perf_counter() - began,
        "processor": time.process_time() - used,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "tables": found and dict(zip(("accuracy", "survival", "delay", "coverage"), found)),
    }


words = sys.argv[1:]
print(json.dumps(run(words[1:]) if words[0] == "run" else other(*words)))
