"""What a reading may be: the checks that every way in shares, by column.

`cells` says what a single value may be, `readings` how the values of one reading fit together and to the farm's days,
`table` holds many readings as columns, with what is wrong in them named by row, column and reason.
"""
