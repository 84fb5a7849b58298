
from condyle.figure.seating.upright import find_upright


def find_fourfoot(flesh): return find_upright(flesh)[0]
def fourfoot_lies(*a): raise NotImplementedError
