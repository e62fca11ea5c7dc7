import time
from datetime import date, datetime, UTC, timedelta
import time_machine, pytest
from tests.world.doors import Doors
from tests.world import school

@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_try(open_database):
    from django.db import transaction
    with time_machine.travel(datetime(2026,10,12,7,0,tzinfo=UTC), tick=False) as t:
        doors = Doors()
        s = time.perf_counter()
        made = school.make(doors, date(2026,10,12))
        print("setup", time.perf_counter()-s)
        print(made["people"], made["item_ids"])
        print(doors.get("Root","kits/DAY-01/"))
        print(doors.get("Root","kits/DAY-01/readiness/"))
        print(doors.get("Root","kits/DAY-01/restock/"))
        print(doors.every("Root","stock/")[:1])
        for p in ["kits/DAY-01/","kits/DAY-01/readiness/","kits/","stock/?page_size=200","kits/DAY-01/contents/","trips/","notices/?page_size=50","notices/weekly/"]:
            s=time.perf_counter()
            for i in range(10): doors.send("Kim",p,method="GET")
            print(p,(time.perf_counter()-s)*100,"ms")
        for p in ["/","/kits/","/kits/DAY-01/","/trips/","/offline/book/"]:
            s=time.perf_counter()
            for i in range(10): st,_=doors.page("Kim",p)
            print(p,st,(time.perf_counter()-s)*100,"ms")
        s=time.perf_counter()
        for i in range(10):
            t.shift(3600)
            a=doors.send("Ada","kits/DAY-01/check-out/",{"person":"3"}); 
            b=doors.send("Ada","kits/DAY-01/check-in/",{"as_found":"sealed-and-dry"})
            print(a.status,a.code,b.status)
            r=doors.send("Kim","kits/DAY-01/look-inside/",{})
        print("3 acts",(time.perf_counter()-s)*100,"ms")
        s=time.perf_counter(); print(doors.command("audit")); print((time.perf_counter()-s)*1000,"ms")
        print(doors.get("Root","notices/weekly/?person=4"))
