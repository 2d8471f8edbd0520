"""Words that turn numbers into a place, or show that they are something else; folded, lower-case.

Rules: a scene object is a common noun aboard or on the wreck site, from SCENE; land and charted marks are in
LAND; from memory of the five languages and of deck talk (common practice, no source).
"""

from enum import Enum


class Axis(Enum):
    """Which coordinate a hemisphere belongs to."""

    LATITUDE = 1
    LONGITUDE = 2


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


HEMISPHERES: dict[str, Axis] = {
    **dict.fromkeys("n s north south nord sud norte sur sul northern southern norden suden".split(), Axis.LATITUDE),
    **dict.fromkeys("sued november sierra".split(), Axis.LATITUDE),
    **dict.fromkeys("whiskey whisky".split(), Axis.LONGITUDE),
    **dict.fromkeys("nordlich sudlich nordliche sudliche nordlicher sudlicher".split(), Axis.LATITUDE),
    **dict.fromkeys("e w o east west est ouest este oeste leste ost eastern western".split(), Axis.LONGITUDE),
    **dict.fromkeys("osten westen ostlich westlich ostliche westliche ostlicher westlicher".split(), Axis.LONGITUDE),
}
LATITUDE_LABELS = _words("lat lats latitude breite breitengrad breddegrad breedtegraad mlat φ")
LONGITUDE_LABELS = _words("lon long longitude lng lange langengrad lengdegrad langdgrad lengtegraad mlon laenge λ")
LABEL_FILLERS = _words(
    "is are was reads reading of the a our this its about approx approximately roughly around near at now deg degrees "
    "degree wreck ship site vessel vehicle position here currently just some something like and lon long longitude "
    "lat latitude es la del le de du nord sud est ouest north south east west n s e w minus val value dd ist sud wgs"
)

CUES = _words(
    "position positions pos posn posit fix coordinates coordinate coords coord latlon latlong lonlat location located "
    "loc waypoint waypoints wp wpt gps site lies lying point here q ll center centre query where posicion posicao "
    "coordonnees coordenadas koordinaten latitude lat"
)
# Behind these even two whole numbers are a position.
FIRM_CUES = _words(
    "position pos posn posit coordinates coordinate coords coord latlon latlong lonlat waypoint waypoints wp wpt gps "
    "posicion posicao coordonnees coordenadas koordinaten lon"
)

# Numbers after these are names of things, not coordinates.
LABELLED_THINGS = _words(
    "sample samples bag bags tag tags serial serials sn part parts hull frame frames dive dives core cores bottle "
    "bottles label labels id file files number numbers no nos nr photo photos image images clip square squares unit "
    "quadrat trench cell row rows cabin cabins seat marker markers camera cameras img dsc line transect transects "
    "ingot ingots marks mark plate plates rib ribs porthole portholes hold holds crate crates box channel ch vhf "
    "target targets niskin step version hn yard score bolt bolts day tape"
)
# Numbers after these are measurements, not coordinates.
MEASURES = _words(
    "salinity temperature temperatures temp oxygen turbidity chlorophyll ph density pressure conductivity voltage "
    "current pitch roll yaw heave tilt pan heading hdg course cog trim list angle angles slope slopes dip dips "
    "dipping strike pull force load tension thrust thruster thrusters torque lamp lamps power drawing speed sog depth "
    "depths altitude range ranges attitude length beam width height thickness zoom gain iso o2 rate weight gyro error "
    "drift leans leaning turned turning rotated rotating facing points pointing bearing bearings brg lists battery "
    "t sal psu turn leaning sloping slopes plunges swung swinging ratio size sizes measures cap rumbo rumo kurs "
    "temperatur temperatura profondeur profundidad profundidade tiefe salinite salinidad salinidade salzgehalt "
    "visibility tolerance wire rudder blade rotate pointed points tilted"
)
# Between a measurement and its number these only join.
MEASURE_JOINTS = _words(
    "of is was are at about and to the by now only some roughly approximately from de est es ist deg s mean"
)
ANGLE_LIMITS = _words("equator line greenwich meridian aquator equateur ecuador equador")

# After a hemisphere word these make it a side of something: "N end", "west face".
SIDES = _words(
    "end ends side sides edge edges face faces flank part half corner wall walls slope tip section quadrant facing "
    "bound of along wind winds swell current ward wards going setting rim bow stern wing deck hold cabin crane door "
    "hatch rail arm"
)

LENGTH_UNITS = _words(
    "m km nm nmi mi mile miles metre metres meter meters kilometre kilometres kilometer kilometers cable cables "
    "ft feet foot yd yds yard yards fathom fathoms league leagues klick klicks kms kilometros quilometros "
    "quilometro kilometro metros metro mille milles milla millas milha milhas seemeile seemeilen meile meilen sm "
    "encablure encablures lieue lieues legua leguas nautical naut metern kilometern nautique nautiques"
)
LONG_UNITS = _words(
    "km nm nmi mi mile miles kilometre kilometres kilometer kilometers cables league leagues klicks kms kilometros "
    "quilometros milles millas milhas seemeilen meilen sm encablures lieues leguas nautical seemeile meile milla milha"
)
OTHER_UNITS = _words(
    "cm mm dm um inch inches in kn kt kts knot knots noeuds nudos kg g mg t ton tons l ml v a mv ma hz khz mhz bar "
    "dbar mbar psi pa kpa c f k celsius psu ppt percent nt rpm db ms mps kmh deg_c px mp w kw x gb mb m2 m3 minutes "
    "min mins seconds sec secs hours hour h hrs days day years pcs coins bottles utc gmt"
)
TIME_UNITS = _words(
    "hour hours hrs hr day days minute minutes heure heures hora horas stunde stunden tag tage jour jours dia dias"
)
VAGUE_COUNTS = _words(
    "a an half few several couple of some quarter dozen many demi une un deux una media medio unas unos algunas meia "
    "uma eine einige halbe quelques"
)

DIRECTIONS = _words(
    "n s e w ne nw se sw nne ene ese sse ssw wsw wnw nnw so no north south east west northeast northwest southeast "
    "southwest northward southward eastward westward northwards southwards eastwards westwards northerly southerly "
    "nord sud est ouest norte sur sul este oeste leste noreste nordeste sureste suroeste noroeste sudeste sudoeste "
    "sudouest sudest nordouest nordest nordlich sudlich ostlich westlich nordostlich nordwestlich sudostlich "
    "sudwestlich norden suden osten westen nordosten nordwesten sudosten sudwesten ost nordost nordwest sudost "
    "sudwest seaward shoreward landward inshore abeam upcoast downcoast northern southern eastern western "
    "northeasterly northwesterly southeasterly southwesterly nno oso sso"
)
DIRECTION_LETTERS = _words("n s e w ne nw se sw nne ene ese sse ssw wsw wnw nnw so no nno oso sso")
OFFSHORE = _words("offshore inland onshore ashore inshore")

PLAIN_RELATIONS = _words("from off von vom beyond past outside seaward landward shoreward depuis desde")
LOOSE_RELATIONS = _words(
    "of to de du des d del do da dos das au aux vor vorm der zu zum zur inside inshore near into nach"
)
PATH_WORDS = _words(
    "to the due true magnetic mag about au a al ao aos in im on bearing well just roughly further away out le la le "
    "dans and half nautical nautique nautiques nauticas naut n m t deg degrees degree ° . , ' - @ / steam steaming "
    "sail sailing run way abeam short clear large lo mar em no na en hacia more or so some at range brg rng straight "
    "good rumbo azimut vers et demi media"
)
DETERMINERS = _words(
    "the a an our its this that her his their my your old new first second third last next same other both either "
    "l el los las le la les o os as der die das dem den des du de d very big small upper lower main inner outer"
)
BEARINGS = _words(
    "bearing bearings bears bore brg azimuth relevement releve gisement demora marcacao marcaciones azimut azimute "
    "peilung peilt arrumbamiento"
)

LAND = _words(
    "cape headland promontory peninsula island islands isle isles islet islets archipelago atoll cay strait straits "
    "bay gulf fjord firth inlet lagoon estuary delta river lighthouse lightvessel lightship seamount guyot volcano "
    "mount mountain land shore shoreline coast coastline mainland beach harbour harbor pier jetty breakwater mole "
    "quay marina village town city airport border port reef reefs shoal shoals sandbank bank fairway light lt buoy "
    "mouth peak cliff cliffs church "
    "cap cabo kap phare faro farol leuchtturm leuchtfeuer ile iles isla islas ilha ilhas insel inseln archipel "
    "archipielago arquipelago cote costa kuste kueste puerto porto hafen punta ponta pointe baie bahia baia bucht "
    "golfe golfo detroit estrecho estreito meerenge plage playa praia strand arrecife recife recif riff ville ciudad "
    "cidade stadt dorf terre tierra terra fleuve rio riviere fluss bouche embouchure ufer continente continent"
)
FEATURES = _words(
    "cape mount isle island islands bay gulf strait straits reef shoal bank lighthouse harbour harbor port point head "
    "peninsula atoll seamount islet fjord firth "
    "cabo cap kap isla islas ilha ilhas ile iles insel golfo golfe baie bahia baia bucht punta ponta pointe puerto "
    "porto faro phare farol leuchtturm estrecho estreito detroit river rio"
)

SCENE = _words(
    "boiler boilers bow bows stern wreck wrecks wreckage outcrop outcrops target targets anchor anchors vehicle "
    "vehicles ship hull hulls keel mast masts foremast mainmast funnel funnels engine engines propeller propellers "
    "rudder deck decks bridge winch windlass capstan chain tether cable seabed bottom seafloor surface debris field "
    "scour mound mounds plate plates frame frames rib ribs crate crates chest bottle bottles pile boulder boulders "
    "rock rocks ledge slope wall edge contact contacts marker markers beacon beacons transponder clump weight lander "
    "cage ladder hatch hatches side sides rail rails davit davits porthole portholes bell gun guns stempost sternpost "
    "post stem hold holds cabin cabins section track course line centre center centreline plan start end box basket "
    "net nets rope wire wires line lines lamp lamps lights camera cameras arm arms gripper sonar sampler core cores "
    "sample samples find finds object objects thing things item items pit trench grid square datum station vertical "
    "bollard crane beam beams timber timbers bulkhead bulkheads superstructure stack quarter midships "
    "fracture break crack hole gap opening doorway door stairs skylight galley sponge coral fish it us them here "
    "where anything everything something nothing what each another one others both me you him her his ours mud silt "
    "sand clay bed floor ground column thermocline layer crest crests ripple pipe valve tank tanks ballast skid frame "
    "tms vessel boat lifeboat lifeboats launch drill previous last first nearest starboard port aft forward fore "
    "amidships scrap girder girders rivets shaft blade blades locker bag bags ingot ingots coin coins mosaic transect "
    "row figure edge rim feature features patch area zone spot spots position path route approach standoff "
    "plating planking plank planks strake strakes sheer bulwark bulwarks coaming hawse hawsepipe fluke flukes shank "
    "stock cylinder cylinders condenser crank crankshaft piston tubes furnace ventilator ventilators cowl telegraph "
    "binnacle wheel helm fairlead bitts bitt sternframe fantail poop forecastle saloon bilge "
    "knee knees ceiling deckhouse wheelhouse skeg screw hub tunnel bunker bunkers coal heap cluster lump block stone "
    "stones ridge gully furrow hollow hump bump step terrace overhang face flank corner tip opening window windows "
    "glass cup cups dish dishes jar jars amphora amphorae jug jugs tile tiles brick bricks skull bone "
    "bones shell shells tubeworms anemone anemones crab crabs shark current snow thruster thrusters manipulator tool "
    "laser lasers dome buoyancy float floats depressor trackline axis horizontal level normal zero schedule "
    "proue poupe etrave epave chaudiere ancre navire fond pont mat quille coque surface bord cale helice gouvernail "
    "pecio proa popa caldera calderas ancla buque fondo casco quilla mastil cubierta helice timon naufragio naufragios "
    "caldeira ancora navio fundo quilha conves mastro leme casco "
    "wrack bug heck kessel anker schiff boden grund rumpf kiel masten deck schraube ruder fahrzeug ziel bordwand "
    "ceiling roof base foot top middle corner centerline tube rov sub cargo cradle gunwale"
)
SCENE_OVERRIDES_LAND = _words("port light bank point head mount mouth beach peak")
CALENDAR = _words(
    "monday tuesday wednesday thursday friday saturday sunday january february march april may june july august "
    "september october november december utc gmt"
)
# Between a piece of land and a distance these only join: "the island is about 3 miles".
COPULAS = _words("is are was bears bearing lies at about now still some roughly just the to and est esta fica liegt")
# Behind a long distance these make it a depth, a length or a run on the site.
NOT_FROM_A_PLACE = _words(
    "down deep below above water cable wire tether rope line track mud chain up profond profundo tief"
)
