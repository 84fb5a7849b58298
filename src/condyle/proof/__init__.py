"""What is proved of a kit before any material is spent: one file per question."""

from condyle.proof.kit import JointProof, PartProof, PoseProof, Proof, prove

__all__ = ["JointProof", "PartProof", "PoseProof", "Proof", "prove"]
