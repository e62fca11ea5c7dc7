"""Scratch: what the world finds on the program as it is."""
import os, sys, time
from collections import Counter
from datetime import date, datetime, UTC
import pytest, time_machine
from tests.world.doors import Doors
from tests.world import school
from tests.world.play import play, shortened
from tests.world.surfaces import EVERY

@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_try(open_database):
    start = date(2026,10,12)
    checks = frozenset(os.environ["CHECKS"].split(",")) if os.environ.get("CHECKS") else EVERY
    a, b = map(int, os.environ.get("WEEKS","0,10").split(","))
    tally, done, examples = Counter(), Counter(), {}
    with time_machine.travel(datetime(2026,10,12,7,0,tzinfo=UTC), tick=False) as clock:
        doors = Doors()
        made = school.make(doors, start)
        s = time.perf_counter()
        for seed in range(a,b):
            try:
                week, found = play(doors, made, seed, clock, start, checks=checks)
            except Exception as e:
                print("CRASH week", seed); raise
            done += week.done
            if found:
                import re
                k=(found.check, re.sub(r"[0-9]+","#",found.text)[:90]); tally[k]+=1
                examples.setdefault(k,(seed,found.text))
        took = time.perf_counter()-s
        print(f"{took/(b-a):.2f} s a week")
        for k,n in tally.most_common(40): print(n, k[0], "|", examples[k][1][:400], "| week", examples[k][0])
        if os.environ.get("SHRINK"):
            for k,n in list(tally.most_common(int(os.environ["SHRINK"]))):
                seed,_=examples[k]
                _, f = play(doors, made, seed, clock, start, checks=checks)
                w,f2 = shortened(doors, made, seed, clock, start, f, checks)
                print("---- week",seed,f2); print("\n".join(w.story))
        print(done)

@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_profile(open_database):
    import cProfile, pstats
    start = date(2026,10,12)
    checks = frozenset(os.environ["CHECKS"].split(","))
    with time_machine.travel(datetime(2026,10,12,7,0,tzinfo=UTC), tick=False) as clock:
        doors = Doors()
        made = school.make(doors, start)
        pr = cProfile.Profile(); pr.enable()
        for seed in range(4, 9):
            play(doors, made, seed, clock, start, checks=checks)
        pr.disable()
        pstats.Stats(pr).sort_stats("cumtime").print_stats(70)
