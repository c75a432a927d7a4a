"""Reads an archive of a measured heat-pump day with DuckDB and with pyarrow, beside the original file.

    python heat_pump_reference.py ARCHIVE MEASURED DAY

Every reading has to be there once, with the value and the unit of measure that the original implies.
"""

import csv
import datetime as dt
import sys
from pathlib import Path

import duckdb
import pyarrow.dataset
import pyarrow.parquet

COLUMNS = {
    "return_air_control": "zn_temp",
    "supply_air_control": "sa_temp",
    "ambient_air": "oa_temp",
    "set_point": "zn_temp_cspt",
}


def original(path):
    """Time (UTC, year 2024 by our choice) and the four temperatures in degrees Celsius."""
    for row in csv.DictReader(path.open()):
        day, clock = row["date_time"].split()
        month, date = map(int, day.split("/"))
        hour, minute, second = map(int, clock.split(":"))
        time = dt.datetime(2024, month, date, tzinfo=dt.timezone.utc)
        time += dt.timedelta(hours=hour, minutes=minute, seconds=second)
        yield time, {ours: (float(row[theirs]) - 32) / 1.8 for ours, theirs in COLUMNS.items()}


def check(who, found, expected):
    assert len(found) == len(expected) == 1440, f"{who}: {len(found)} readings"
    for (time, *values), (true_time, true_values) in zip(found, expected):
        assert time == true_time, f"{who}: {time} where {true_time} was measured"
        for value, (name, true) in zip(values, true_values.items()):
            assert abs(float(value) - true) <= 0.0501, f"{who}: {name} at {time} is {value}, measured {true}"


def main():
    archive, measured, day = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
    files = str(archive / "readings" / "**" / "*.parquet")
    dataset = pyarrow.dataset.dataset(str(archive / "readings"), partitioning="hive", exclude_invalid_files=True)
    names = ["time", *COLUMNS]
    unit = f"HP-{day}"
    expected = list(original(measured / f"{day}_eff_default.csv"))
    query = f"""
        select time, {", ".join(COLUMNS)}
        from read_parquet('{files}', hive_partitioning = true, union_by_name = true)
        where unit = '{unit}' order by time"""
    connection = duckdb.connect()
    connection.execute("set timezone = 'UTC'")
    check("DuckDB", connection.execute(query).fetchall(), expected)
    table = dataset.to_table(columns=names, filter=pyarrow.dataset.field("unit") == unit).sort_by("time")
    check("pyarrow", list(zip(*(table.column(name).to_pylist() for name in names))), expected)
    running = dataset.to_table(columns=["time", "compressor"], filter=pyarrow.dataset.field("unit") == unit)
    states = [state == "running" for state in running.sort_by("time").column("compressor").to_pylist()]
    starts = sum(now and not before for before, now in zip(states, states[1:]))
    assert abs(starts - {"atlanta": 29, "tucson": 20}[day]) <= 1, f"{day}: {starts} compressor starts"
    print(f"{unit}: 1440 readings, {starts} compressor starts")
    schema = pyarrow.parquet.read_schema(next((archive / "readings").rglob("*.parquet")))
    for name in COLUMNS:
        metadata = {key.decode(): value.decode() for key, value in schema.field(name).metadata.items()}
        assert "Cel" in metadata.values(), f"{name}: no unit of measure in {metadata}"
    assert schema.field("time").type.tz == "UTC", schema.field("time").type


main()
