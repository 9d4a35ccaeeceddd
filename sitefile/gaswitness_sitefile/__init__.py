"""What a gas-detection panel is meant to be: facts, and checks that the facts agree.

No arithmetic on readings, no alarm logic, no word packing, no I/O beyond reading the site file.
"""
