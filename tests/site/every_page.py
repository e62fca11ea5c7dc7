"""Every page's address, for the tests that go through all of them on the small school.

A new page adds its line here: `AT_DAWN` are those used with cold hands in bad light (contrast 7:1),
`AT_THE_DESK` all others.
"""

AT_DAWN = (
    "/scan/",
    "/scan/?text=DAY-01",
    "/scan/?text=DAY-03",
    "/kits/DAY-01/",
    "/kits/DAY-02/",
    "/kits/DAY-02/sort/",
    "/kits/DAY-02/count/",
    "/kits/DAY-01/count/",
    "/kits/DAY-01/history/",
    "/kits/DAY-01/hand-back/",
    "/kits/DAY-01/hand-back/?opened=1",
    "/kits/DAY-01/hand-back/?opened=1&sharps=yes",
)
AT_THE_DESK = (
    "/",
    "/kits/",
    "/kits/DAY-03/as-of/",
    "/lists/",
    "/lists/1/1/",
    "/lists/1/2/",
    "/lists/1/2/compare/",
    "/lists/1/2/effect/",
    "/lists/1/2/edit/",
    "/lists/1/2/sections/main/",
    "/notices/",
    "/notices/weekly/",
    "/notices/settings/",
    "/people/",
    "/people/?left=1",
    "/people/1/",
    "/rooms/",
    "/rooms/main-store/",
    "/tokens/",
    "/settings/",
    "/labels/",
    "/labels/?for=pouches",
    "/labels/?for=shelves",
    "/labels/?for=batches",
    "/labels/?for=people",
    "/labels/?for=blanks",
    "/labels/print/",
    "/labels/printer/",
    "/nowhere/",
)
PAGES = AT_DAWN + AT_THE_DESK
