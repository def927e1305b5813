"""Writes expected.csv from Python's own zone reader over the zone files beside this script.

Run as: python3 make_expected.py > expected.csv
The committed table was made by Python 3.11.7 over the files of tzdata 2026f.
"""
import datetime as dt
import pathlib
import zoneinfo

HERE = pathlib.Path(__file__).parent
ZONES = ["Europe/Rome", "America/Los_Angeles", "Australia/Lord_Howe", "Africa/Cairo", "Pacific/Apia"]
EPOCH = dt.datetime(1970, 1, 1)
print("zone,asked,value,kind,first,second")
for name in ZONES:
    with open(HERE / name, "rb") as file:
        zone = zoneinfo.ZoneInfo.from_file(file, key=name)

    def offset(seconds):
        utc = (EPOCH + dt.timedelta(seconds=seconds)).replace(tzinfo=dt.timezone.utc)
        return int(utc.astimezone(zone).utcoffset().total_seconds())

    # Instants: every 183 days from 1880 to 2100, and both sides of each change between 2010 and 2045.
    start, end = -2840140800, 4102444800
    instants = list(range(start, end, 183 * 86400 + 12345))
    step = 6 * 3600
    for at in range(1262304000, 2366841600, step):
        if offset(at) != offset(at + step):
            low, high = at, at + step
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (middle, high) if offset(middle) == offset(at) else (low, middle)
            instants += [low, high]
    for at in sorted(instants):
        print(f"{name},utc,{at},offset,{offset(at)},")

    # Local clock times of the days around the changes of 2021 and 2040, every quarter hour and a bit.
    for year in (2021, 2040):
        for month, day in ((3, 14), (3, 28), (3, 25), (4, 4), (4, 1), (10, 3), (10, 7), (10, 31), (10, 28), (11, 7), (11, 4), (6, 1)):
            for quarter in range(0, 16):
                local = dt.datetime(year, month, day) + dt.timedelta(minutes=15 * quarter)
                found = set()
                for fold in (0, 1):
                    utc = local.replace(tzinfo=zone, fold=fold).astimezone(dt.timezone.utc)
                    if utc.astimezone(zone).replace(tzinfo=None) == local:
                        found.add(int(utc.timestamp()))
                value = int((local - EPOCH).total_seconds())
                times = sorted(found) + ["", ""]
                kind = ["gap", "one", "twice"][len(found)]
                print(f"{name},local,{value},{kind},{times[0]},{times[1]}")

    # Midnights that are missing or come twice (Cairo 2024), and a day that never was (Apia, 30 December 2011).
    midnights = {"Africa/Cairo": ((2024, 4, 25), (2024, 10, 31)), "Pacific/Apia": ((2011, 12, 29), (2011, 12, 30))}
    for year, month, day in midnights.get(name, ()):
        for quarter in range(80, 112):
            local = dt.datetime(year, month, day) + dt.timedelta(minutes=15 * quarter)
            found = set()
            for fold in (0, 1):
                utc = local.replace(tzinfo=zone, fold=fold).astimezone(dt.timezone.utc)
                if utc.astimezone(zone).replace(tzinfo=None) == local:
                    found.add(int(utc.timestamp()))
            value = int((local - EPOCH).total_seconds())
            times = sorted(found) + ["", ""]
            print(f"{name},local,{value},{['gap', 'one', 'twice'][len(found)]},{times[0]},{times[1]}")
