"""Visits over time, in one SQLite file: what was tested before, what falls due, what is missing, what drifts.

`store` opens the file, `migrations` gives it its tables, `seen` tells files that are counted already, `places` and
`matching` say which devices are the same over the years, `taking_in` adds the files of an audit in one transaction, and
`states` keeps what stands of each device, so that no question has to read all tests.
"""
