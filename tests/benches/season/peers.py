"""The season's computation by three libraries, as somebody who knows each would write it.

Called as `peers.py NAME FOLDER`; prints one check line. Its own clock runs from after the imports, for numpy from when
the columns are in memory.
"""

import sys
import time

BASE, UPPER, HOT, DRY = 10, 30, 32, 2.5
ROWS_A_DAY, ROWS_AN_HOUR = 1440, 60


def told(began, days, rows, low, high, degree_days, hours_above, deficit_hours, deficits):
    seconds = time.perf_counter() - began
    with open("/proc/self/status") as status:
        peak = next(line.split()[1] for line in status if line.startswith("VmHWM:"))
    print(
        f"check days={days} rows={int(rows)} low={low:.6f} high={high:.6f} degree_days={degree_days:.6f} "
        f"hours_above={hours_above:.6f} deficit_hours={deficit_hours:.6f} mean_vpd={deficits / rows:.9f} "
        f"seconds={seconds:.6f} peak_kib={peak}"
    )


def by_numpy(folder):
    import numpy as np

    air = np.fromfile(f"{folder}/air.f32", "<f4")
    humidity = np.fromfile(f"{folder}/humidity.f32", "<f4")
    began = time.perf_counter()
    air = air.astype(np.float64).reshape(-1, ROWS_A_DAY)
    humidity = humidity.astype(np.float64).reshape(-1, ROWS_A_DAY)
    deficit = 0.6108 * np.exp(17.27 * air / (air + 237.3)) * (1 - humidity / 100)
    readings = np.count_nonzero(~np.isnan(air), axis=1)
    low, high = np.nanmin(air, axis=1), np.nanmax(air, axis=1)
    degree_days = np.nansum(np.clip(air, BASE, UPPER) - BASE, axis=1) / ROWS_A_DAY
    above = np.count_nonzero(air > HOT, axis=1) / ROWS_AN_HOUR
    dry = np.count_nonzero(deficit > DRY, axis=1) / ROWS_AN_HOUR
    deficits = np.nansum(deficit, axis=1)
    sums = (column.sum() for column in (readings, low, high, degree_days, above, dry, deficits))
    told(began, len(air), *sums)


def by_polars(folder):
    import polars as pl

    began = time.perf_counter()
    air, deficit = pl.col("t_c"), pl.col("deficit")
    rows = pl.scan_csv(
        f"{folder}/season.csv", schema={"time": pl.String, "t_c": pl.Float64, "rh_pct": pl.Float64}
    )
    saturation = 0.6108 * (17.27 * air / (air + 237.3)).exp()
    days = (
        rows.drop_nulls()
        .with_columns(
            day=pl.col("time").str.to_datetime("%Y-%m-%dT%H:%M:%SZ", time_unit="ms").dt.truncate("1d"),
            deficit=saturation * (1 - pl.col("rh_pct") / 100),
        )
        .group_by("day")
        .agg(
            readings=pl.len(),
            low=air.min(),
            high=air.max(),
            degree_days=(air.clip(BASE, UPPER) - BASE).sum() / ROWS_A_DAY,
            above=(air > HOT).sum() / ROWS_AN_HOUR,
            dry=(deficit > DRY).sum() / ROWS_AN_HOUR,
            deficits=deficit.sum(),
        )
        .sort("day")
        .collect(engine="streaming")
    )
    told(began, days.height, *(days[name].sum() for name in days.columns[1:]))


def by_duckdb(folder):
    import duckdb

    began = time.perf_counter()
    days = duckdb.connect().execute(
        f"""
        with readings as (
            select time, t_c, 0.6108 * exp(17.27 * t_c / (t_c + 237.3)) * (1 - rh_pct / 100) as deficit
            from read_csv('{folder}/season.csv', header = true,
                columns = {{'time': 'TIMESTAMP', 't_c': 'DOUBLE', 'rh_pct': 'DOUBLE'}})
            where t_c is not null
        )
        select date_trunc('day', time) as day, count(*), min(t_c), max(t_c),
            sum(least(greatest(t_c, {BASE}), {UPPER}) - {BASE}) / {ROWS_A_DAY},
            count(*) filter (t_c > {HOT}) / {ROWS_AN_HOUR}::double,
            count(*) filter (deficit > {DRY}) / {ROWS_AN_HOUR}::double,
            sum(deficit)
        from readings group by day order by day
        """
    ).fetchall()
    told(began, len(days), *(float(sum(column)) for column in list(zip(*days))[1:]))


{"numpy": by_numpy, "polars": by_polars, "duckdb": by_duckdb}[sys.argv[1]](sys.argv[2])
