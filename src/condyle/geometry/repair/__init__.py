"""Mending of sculpts: from any triangles to one closed solid, every change told.

weld        corners at the same place become one vertex
edges       which triangles meet at an edge, and which of them belong together
surface     closed-up connectivity: winding made consistent, shells told apart, pinched places split
faces       triangles that are no surface: without extent, doubled, inner walls and fins
holes       small openings closed
shells      specks, hollows, shells inside shells, inside-out ones
crossing    where a surface runs through itself
uncross     the same solid without the crossings
deviation   how far two surfaces lie apart, both ways
simplify    fewer triangles within a deviation
mend        all of these in order
"""
