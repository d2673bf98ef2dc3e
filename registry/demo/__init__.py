"""The invented club for trying the registry out: its dogs, people, clinics and results.

What belongs here: the simulation of the dogs and their joints (pure, from a seed), the scenario
that names them (its words are in ``fixtures/demo.json``), the drawings that stand in for
radiographs, and the loader that hands all of it to ``registry.desk`` as a clinic and a registrar
would. What does not: any rule of the registry, and any write that goes past the desk. Nothing
outside ``registry.management`` may need this package.
"""
