"""The kinds above species: "a deer, kind unknown", "a bird"; and which kinds a question about deer takes in.

A short tree of general knowledge, for the animals that trail cameras mostly see: classes, a few orders and families
with their everyday names, and which genus belongs to which family. It is where a reserve's own list begins; that
list may be changed, and then the reserve's own tree counts, not this one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

RANKS = ("species", "genus", "family", "order", "class", "group")  # group: of no rank, such as "small mammal"


@dataclass(frozen=True, kw_only=True)
class Taxon:
    """One kind of animal. key, parent : keys; '' without a parent. rank : as in RANKS."""

    key: str
    name: str
    rank: str = "species"
    scientific_name: str = ""
    parent: str = ""


def _known() -> tuple[Taxon, ...]:
    told = (
        # rank, scientific name, everyday name, the scientific name of the kind above
        ("class", "Mammalia", "Mammal", ""),
        ("class", "Aves", "Bird", ""),
        ("class", "Reptilia", "Reptile", ""),
        ("class", "Amphibia", "Amphibian", ""),
        ("order", "Carnivora", "Carnivore", "Mammalia"),
        ("order", "Artiodactyla", "Even-toed hoofed animal", "Mammalia"),
        ("order", "Perissodactyla", "Odd-toed hoofed animal", "Mammalia"),
        ("order", "Rodentia", "Rodent", "Mammalia"),
        ("order", "Lagomorpha", "Hare, rabbit or pika", "Mammalia"),
        ("order", "Eulipotyphla", "Hedgehog, mole or shrew", "Mammalia"),
        ("order", "Chiroptera", "Bat", "Mammalia"),
        ("order", "Primates", "Monkey or ape", "Mammalia"),
        ("family", "Cervidae", "Deer", "Artiodactyla"),
        ("family", "Bovidae", "Cattle, sheep, goat or antelope", "Artiodactyla"),
        ("family", "Suidae", "Pig", "Artiodactyla"),
        ("family", "Tayassuidae", "Peccary", "Artiodactyla"),
        ("family", "Equidae", "Horse, ass or zebra", "Perissodactyla"),
        ("family", "Canidae", "Dog, fox or wolf", "Carnivora"),
        ("family", "Felidae", "Cat", "Carnivora"),
        ("family", "Mustelidae", "Marten, weasel, badger or otter", "Carnivora"),
        ("family", "Mephitidae", "Skunk", "Carnivora"),
        ("family", "Procyonidae", "Raccoon or coati", "Carnivora"),
        ("family", "Ursidae", "Bear", "Carnivora"),
        ("family", "Viverridae", "Civet or genet", "Carnivora"),
        ("family", "Herpestidae", "Mongoose", "Carnivora"),
        ("family", "Hyaenidae", "Hyena", "Carnivora"),
        ("family", "Leporidae", "Hare or rabbit", "Lagomorpha"),
        ("family", "Sciuridae", "Squirrel, marmot or chipmunk", "Rodentia"),
        ("family", "Castoridae", "Beaver", "Rodentia"),
        ("family", "Muridae", "Mouse or rat", "Rodentia"),
        ("family", "Cricetidae", "Vole, lemming or muskrat", "Rodentia"),
        ("family", "Erinaceidae", "Hedgehog", "Eulipotyphla"),
        ("family", "Didelphidae", "Opossum", "Mammalia"),
        ("family", "Macropodidae", "Kangaroo or wallaby", "Mammalia"),
        ("family", "Phasianidae", "Pheasant, grouse or partridge", "Aves"),
        ("family", "Columbidae", "Pigeon or dove", "Aves"),
        ("family", "Corvidae", "Crow, jay or magpie", "Aves"),
        ("family", "Accipitridae", "Hawk, eagle or buzzard", "Aves"),
        ("family", "Strigidae", "Owl", "Aves"),
        ("family", "Anatidae", "Duck, goose or swan", "Aves"),
        ("family", "Ardeidae", "Heron", "Aves"),
        ("family", "Turdidae", "Thrush", "Aves"),
        ("family", "Picidae", "Woodpecker", "Aves"),
    )
    return tuple(
        Taxon(key=latin.lower(), name=name, rank=rank, scientific_name=latin, parent=above.lower())
        for rank, latin, name, above in told
    )


KNOWN: tuple[Taxon, ...] = _known()
BY_KEY = {taxon.key: taxon for taxon in KNOWN}
BY_NAME = {taxon.name.casefold(): taxon for taxon in KNOWN}
_GENERA = {
    "Cervidae": "Cervus Capreolus Dama Alces Rangifer Odocoileus Axis Muntiacus Hydropotes Elaphodus Rusa Mazama",
    "Bovidae": "Bos Bison Ovis Capra Rupicapra Ovibos Oreamnos Bubalus Nemorhaedus Capricornis Tragelaphus Aepyceros "
    "Sylvicapra Cephalophus Philantomba Syncerus Connochaetes Gazella Antidorcas Hippotragus Oryx Kobus Redunca",
    "Suidae": "Sus Potamochoerus Phacochoerus Hylochoerus",
    "Tayassuidae": "Pecari Dicotyles Tayassu",
    "Equidae": "Equus",
    "Canidae": "Canis Vulpes Lupulella Nyctereutes Lycaon Cuon Urocyon Cerdocyon Chrysocyon Speothos",
    "Felidae": "Felis Lynx Puma Panthera Leopardus Prionailurus Caracal Leptailurus Acinonyx Neofelis Herpailurus",
    "Mustelidae": "Meles Martes Mustela Neogale Gulo Lutra Lontra Taxidea Pekania Neovison Mellivora Eira Melogale",
    "Mephitidae": "Mephitis Spilogale Conepatus",
    "Procyonidae": "Procyon Nasua Bassariscus Potos",
    "Ursidae": "Ursus Tremarctos Helarctos Melursus Ailuropoda",
    "Viverridae": "Genetta Viverra Viverricula Paradoxurus Paguma Civettictis",
    "Herpestidae": "Herpestes Urva Mungos Ichneumia Atilax Suricata Galerella",
    "Hyaenidae": "Crocuta Hyaena Parahyaena Proteles",
    "Leporidae": "Lepus Oryctolagus Sylvilagus",
    "Sciuridae": "Sciurus Tamiasciurus Marmota Tamias Neotamias Urocitellus Glaucomys Callosciurus",
    "Castoridae": "Castor",
    "Muridae": "Rattus Mus Apodemus",
    "Cricetidae": "Myodes Clethrionomys Microtus Ondatra Arvicola Peromyscus Neotoma",
    "Erinaceidae": "Erinaceus Atelerix Hemiechinus",
    "Didelphidae": "Didelphis Philander",
    "Macropodidae": "Macropus Osphranter Notamacropus Wallabia Petrogale Thylogale",
    "Phasianidae": "Phasianus Tetrao Lyrurus Lagopus Perdix Bonasa Tetrastes Meleagris Gallus Centrocercus Coturnix",
    "Columbidae": "Columba Streptopelia Zenaida",
    "Corvidae": "Corvus Garrulus Pica Cyanocitta Nucifraga Perisoreus Coloeus",
    "Accipitridae": "Accipiter Astur Buteo Aquila Haliaeetus Milvus Circus",
    "Strigidae": "Strix Bubo Asio Athene",
    "Anatidae": "Anas Anser Branta Cygnus Aix",
    "Ardeidae": "Ardea Egretta",
    "Turdidae": "Turdus",
    "Picidae": "Picus Dendrocopos Dryocopus Dryobates",
}
FAMILY_OF: dict[str, str] = {genus: family.lower() for family, genera in _GENERA.items() for genus in genera.split()}


def above(scientific_name: str) -> str:
    """Key of the known kind above a species or genus, by its genus; '' when it is not known."""
    words = scientific_name.strip().split()
    return FAMILY_OF.get(words[0].capitalize(), "") if words else ""


def unknown_kind(name: str) -> str:
    """What is said of an animal of which only this is known: 'Deer, kind unknown'."""
    return f"{name}, kind unknown"


def all_kinds(name: str) -> str:
    """What a question imports that asks for all of a kind: 'Deer, all kinds'."""
    return f"{name}, all kinds"


def line_above(key: str, parents: Mapping[str, str]) -> list[str]:
    """A kind and those above it, nearest first. parents : key to key. A ring ends where it closes."""
    line: list[str] = []
    while key and key not in line:
        line.append(key)
        key = parents.get(key, "")
    return line


def gatherer(kinds: Iterable[Taxon], asked: Iterable[str]) -> Callable[[str], str | None]:
    """A question to ask often: as which of the kinds asked for does an animal of a kind count? None: as none.

    An animal counts as the nearest kind asked for at or above its own, so a red deer asked for beside all deer stays
    a red deer.
    """
    wanted = set(asked)
    parents = {kind.key: kind.parent for kind in kinds}
    known: dict[str, str | None] = {}

    def as_which(key: str) -> str | None:
        if key not in known:
            known[key] = next((at for at in line_above(key, parents) if at in wanted), None)
        return known[key]

    return as_which


def may_be(kinds: Iterable[Taxon], asked: Iterable[str]) -> set[str]:
    """Kinds above those asked for: an animal of which only these are known may be one of those asked for."""
    parents = {kind.key: kind.parent for kind in kinds}
    wanted = set(asked)
    return {over for key in wanted for over in line_above(key, parents)[1:]} - wanted
