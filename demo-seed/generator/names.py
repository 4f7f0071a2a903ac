"""Invented names of people; any likeness to a living person is chance."""

GIVEN = (
    "Abena Adaeze Aksel Alina Amadou Anneke Arjun Astrid Beatriz Bohdan Calixto Camille Chidi Ciara Dalia Darius "
    "Delphine Dmitri Edda Eirwen Elif Emeka Esperanza Farid Fenna Fiorella Gideon Giulia Hadiya Halvard Hana Hideo "
    "Ibrahim Ines Ingrid Iqbal Ivo Jadwiga Javier Jelena Jonas Kamala Kasimir Keiko Kofi Lavinia Leif Linh Lourdes "
    "Magnus Malika Mateus Mei Mihai Nadia Nikolai Noor Obinna Odalys Oisin Olena Paavo Pilar Priya Quentin Rafiq "
    "Ramona Renske Rohan Rosalind Sabela Samira Sefa Selwyn Shreya Signe Sipho Soraya Stellan Sunniva Tadeo Talia "
    "Tomasz Ulrika Umberto Vasilis Vesna Wairimu Wilhelmina Xiomara Yaw Yelena Yusuf Zelda Zoran"
).split()

FAMILY = (
    "Aldercote Amblewick Ashlorn Barrowmere Beckanthorpe Birchgale Blackfenn Bramwold Brindlecombe Bucklarch "
    "Cairnhollow Caldermoss Carrowby Chalkwright Cinderlow Cloverdane Coldwych Copperdell Crakefold Cribbensworth "
    "Dapplethorn Darnwick Dewsholm Dovermarsh Drystane Dunnockshaw Eastermoor Eldergrave Elmswade Fallowden "
    "Farthingmoss Fernhaugh Flintbarrow Foxlarch Frostenby Gallowhurst Garsonwick Gladeholt Gorsefeld Greylark "
    "Hallowmere Harkenstow Hazelwyke Heatherstane Hollinbrook Hopkilner Inglemoss Ironbeck Ivelholt Jacksdawe "
    "Junipersby Kestrelby Kilnmoor Kirkwhistle Lambfold Lanternby Larchwade Linnetworth Lowenmarsh Marlstone "
    "Meadowsett Millfurrow Mossgarth Mothwick Netherlarch Nightingrove Oakhanger Orchardby Otterstone Owlsworth "
    "Paddockby Peatgrave Pebblewyke Plovermere Quarrendon Quillstow Rainsholt Ravelmoor Redshank Ridgewether "
    "Rookbarrow Rowanstead Rushmantle Saltcote Sandlark Sedgemantle Shepwick Skylarkin Slatebeck Snowcroft "
    "Sorrelby Starlingham Stonewether Swiftmoor Tanglewade Tarnbrook Thistlecote Thornmantle Tidewell Tillerby "
    "Turnstone Umberfold Vetchley Wagtailby Warrenhope Weirstow Wheatgarth Whinfeld Willowshaw Windlesham "
    "Withybeck Wrenfold Yarrowby Yewbarrow"
).split()


def invented_names(random, count):
    """Different pairs of given and family name; a family name is used once as long as the list lasts."""
    families = FAMILY[:]
    random.shuffle(families)
    assert count <= len(families), "more people than family names"
    return [(random.choice(GIVEN), families[i]) for i in range(count)]
