"""Mending of sculpts: from any triangles to one closed solid, every change told.

weld        corners at the same place become one vertex
edges       which triangles meet at an edge, and which of them belong together
surface     closed-up connectivity: winding made consistent, shells told apart, pinched places split
faces       triangles that are no surface: without extent, doubled, inner walls and fins
holes       small openings closed
shells      specks, hollows, shells inside shells, inside-out ones
crossing    where a surface runs through itself
piercing    which edges go through which triangles, decided alike from every side
facets      one triangle cut along such curves
arrange     surfaces cut along their curves, the skin of the inside kept
rebuild     the last resort: boxes cut out and rebuilt
uncross     the same solid without the crossings, by one way or the other
skin        shells that run through one another joined
deviation   how far two surfaces lie apart, both ways
simplify    fewer triangles within a deviation
log         what was done, in plain words
mend        all of these in order
"""
