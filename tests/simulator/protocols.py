"""The protocols worked by: the program's own format, nothing else of it."""

SPECIES = """
[species.perch]
title = "perch"
limits.total_length = { possible = [20, 650] }
limits.whole_mass = { possible = [0.1, 5000] }

[species.roach]
title = "roach"
limits.total_length = { possible = [20, 600] }
limits.whole_mass = { possible = [0.1, 3000] }

[species.bream]
title = "bream"
limits.total_length = { possible = [20, 900] }
limits.whole_mass = { possible = [0.1, 9000] }

[species.pike]
title = "pike"
limits.total_length = { possible = [20, 1500] }
limits.whole_mass = { possible = [0.1, 30000] }
"""

SEX = """
[codes.sex]
scale = "sex"
values = { F = "female", M = "male", U = "tried, could not tell" }
"""

ENVELOPES = """
[containers]
kind = "envelope"
role = "last"
structure = "otolith"
label = "L26-####-?"
check = "mod-11-10"
first = "L26-0001-8"
"""

SOLO_PROTOCOL = f"""
name = "solo"
flow = "solo"

[[measurands]]
name = "total_length"
quantity = "length"
rounding = {{ rule = "below", step = "1 cm" }}

[[measurands]]
name = "whole_mass"
quantity = "mass"
rounding = {{ rule = "nearest", step = "1 g" }}
{SPECIES}{SEX}{ENVELOPES}
"""
