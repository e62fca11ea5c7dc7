"""Every operation of the API and of the pages, by everybody, on what is theirs and what is not.

`table` says who may do what, to what: written by hand, to be read. `school` makes two rooms that
are alike, `identities` who asks, `requests` a request for each operation that would succeed for
whoever may. `test_matrix` sends each of them as each identity and compares what came of it with the
table, looks in every answer for what is another room's, and sees that nothing is written before it
was asked who may.
"""
