"""What tissue is: dispersions, thermal values and blood flow, read from data files with source and label."""

from evenfield.tissue.dispersion import FREQUENCY_HZ, ColeCole, Dispersion, MixedDispersion
from evenfield.tissue.flow import Blood, ConstantFlow, DoublingFlow, Flow, RisingFlow
from evenfield.tissue.reading import SHIPPED, load_tissue_set
from evenfield.tissue.tissue import FatKind, Tissue, TissueError, TissueSet
from evenfield.tissue.value import Label, Value

__all__ = [
    "FREQUENCY_HZ",
    "SHIPPED",
    "Blood",
    "ColeCole",
    "ConstantFlow",
    "Dispersion",
    "DoublingFlow",
    "FatKind",
    "Flow",
    "Label",
    "MixedDispersion",
    "RisingFlow",
    "Tissue",
    "TissueError",
    "TissueSet",
    "Value",
    "load_tissue_set",
]
