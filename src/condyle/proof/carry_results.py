"""What was found about holding, standing and lasting, put where the rest of the proof is."""

from __future__ import annotations

from dataclasses import replace

from condyle.proof.carry import Carried
from condyle.proof.kit import PoseProof, Proof


def with_carried(proof: Proof, carried: Carried) -> Proof:
    """The proof with masses as printed, torques, loads and poses, and the findings after its own."""
    joints = {}
    for name, joint in proof.joints.items():
        hold = carried.holds.get(name)
        joints[name] = (
            joint if hold is None else replace(joint, hold_relaxed_nmm=hold.grip.aged.value, load_nmm=hold.load_nmm)
        )
    parts = {
        name: replace(part, mass_g=carried.masses[name].printed.mass_g) if name in carried.masses else part
        for name, part in proof.parts.items()
    }
    poses = tuple(
        PoseProof(p.standing.pose.name, p.standing.stands, p.standing.tip_deg, p.standing.margin_mm, p.weakest_joint)
        for p in carried.poses
    )
    return replace(proof, findings=(*proof.findings, *carried.findings), joints=joints, parts=parts, poses=poses)
