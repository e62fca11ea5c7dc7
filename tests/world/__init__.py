"""A simulated school that judges the program.

`people` act by habits (`hands`, `stockroom`, `office`) through the program's `doors`; a plain
`model` folds over what they reported, `says` what follows from it and `permits` what is refused.
`play` plays a week, `undoing` takes acts back, `surfaces` compares what the program says.
`school` sets it all up through the doors. None of these knows a module of the program; `faults`,
which puts known faults back, does.
"""
