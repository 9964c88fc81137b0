"""Products and their generic attributes, sizes, and which insole fits which shoe."""

from recommend.catalogue.loading import Catalogue, Item, load_catalogue
from recommend.catalogue.models import Product

__all__ = ["Catalogue", "Item", "Product", "load_catalogue"]
