"""Event codes of the audit standard: what each means in plain words, and what usually follows.

One line a code: letters after the group, default urgency, default job, meaning. Urgency: "now" the
machine sells nothing or spoils goods; "soon" it loses sales; "next_visit" it can wait; "none" no
work. The codes are those of the standard's event tables (from a transcription); words, urgency
and job are ours (common practice, no published source), and only a starting point to be edited.
"""

# Group -> what it is about.
GROUPS = {
    "EA": "coin mechanism",
    "EB": "cup system",
    "EC": "control and electrics",
    "ED": "hot drinks",
    "EE": "brewer",
    "EF": "water",
    "EG": "cabinet",
    "EH": "post-mix cold drinks",
    "EI": "communications",
    "EJ": "food, snack, can and bottle delivery",
    "EK": "cashless reader 1",
    "EK2": "cashless reader 2",
    "EL": "product",
    "EM": "microwave oven",
    "EN": "bill validator",
    "EO": "refrigeration",
    "OA": "operations",
    "OB": "service request",
    "OC": "customer or site",
    "OD": "return visit",
    "OE": "history",
    "OF": "cash collection",
}

# Letters that mean the same in nearly every E group.
COMMON = """
V next_visit none Part was modified
W none none Looked at, no fault found
X next_visit check Caused by the site or a customer
Y next_visit check Caused by service work
Z next_visit check Another fault
"""

CODES = {
    "EA": """
A soon clean Coins stuck where they enter
B soon repair Return cup or payout connection
C next_visit clean Slugs found
D soon clean Coins stuck in the validator
E soon clean Coins stuck in the separator
F soon repair Coins stuck in the dispenser
G soon clean Changer jammed, place unknown
H soon clean Reject chute jammed
I soon collect Way into the cash box jammed
J next_visit check Price or programming wrong
K soon repair Price line fault
L now repair Coin validator failed
M soon repair Coin separator failed
N soon repair Coin dispenser failed
O now repair Coin mechanism control board failed
P now repair Coin mechanism has no supply
Q next_visit repair Credit display fault
R now repair Coin mechanism does not answer
S none none Last coin was rejected
1 soon repair Coin cassette is out
U soon repair Coin mechanism reports a fault of its own
""",
    "EC": """
A now repair Supply voltage out of range
B now repair Fuse blown
C now repair Transformer fault
D now repair Control board fault
E now repair Relay board fault
F soon repair Wiring harness fault
G soon repair Cam fault
H soon repair Light barrier fault
I soon repair Door switch stuck
J soon repair Microswitch fault
K next_visit repair Accessory fault
L next_visit check Clock fault
M now repair Program memory fault
N now repair Working memory fault
O now repair Lasting memory fault; counters may be lost
P next_visit check Event queue full
Q soon repair Output driver fault
R soon repair Restarts too often
S next_visit repair Display board fault
T soon repair Relay fault
U next_visit repair Back-up battery low; clock and counters at risk
1A now repair Electrical safety fault
1B soon repair Selection panel fault
1C soon cooling Temperature sensor fault
1D next_visit fill Printer out of paper
1E next_visit repair Vend counter fault
1F soon repair Selection board fault
1G soon repair Delivery board fault
""",
    "EG": """
A next_visit repair Cabinet damaged
B soon repair Legs or level; the machine may tip
C soon repair Lock fault
D next_visit check Labels missing or wrong
E next_visit repair Lights out
F next_visit repair Trim damaged
K next_visit repair Selection latch fault
L next_visit repair Indicator fault
M next_visit clean Drip tray
N soon clean Waste full
P next_visit repair Extractor fan fault
Q next_visit clean Extractor duct fault
R next_visit repair Extractor motor fault
S none none Door was opened
T none none Door was closed
U soon repair Customer's vend door fault
""",
    "EI": """
A next_visit repair No modem found
B next_visit check Line failed
C next_visit repair Communicator's battery low
D none none Host answered with an error
E next_visit check No wide network
F next_visit check No local network
G none none Host busy
H next_visit check Refused by the network
I next_visit check Refused by the host
J next_visit check Not yet put into service
K next_visit check Reached too rarely over thirty days
L soon repair Machine's board does not answer the communicator
M next_visit repair No port to the machine's board
N next_visit check Weak signal
O next_visit repair Communicator and board do not understand each other
""",
    "EJ": """
A soon repair Customer's vend door fault
B soon repair Dispense motor: jammed, not home, or wiring
C soon repair Spiral or chain blocked
D soon repair Shelf or tray fault
E soon repair Drum fault
F soon repair Drum motor fault
G soon repair Delivery door fault
H now cooling Temperature rule broken; perishables may be off sale
I soon cooling Fan fault
J now cooling Not getting cold, or frozen up
K soon cooling Thermostat fault
L soon repair Drop sensor fault
M soon repair Delivery system fault (lift, arm or belt)
""",
    "EK": """
A soon repair Card reader fault
B soon repair Cashless control unit fault
C soon repair Cashless board fault
D soon repair Cashless reader has no supply
E none none Card rejected
F next_visit check Cashless programming wrong
G none none Card not programmed
H none none Card expired
I none none Card blocked
J none none Card on the stop list
K next_visit collect Cashless memory full; read it out
L soon repair Security module fault
M soon repair Cashless reader does not answer
U soon repair Cashless reader reports a fault of its own
""",
    "EL": """
A soon repair Product was not delivered
B soon fill Sold out sooner than expected
C next_visit check Quantity of water wrong
D next_visit check Quantity of syrup wrong
E next_visit fill Product running low
""",
    "EN": """
A soon clean Way in for bills blocked
B next_visit check Fraud attempts with bills
C soon clean Bill stuck in the validator
D soon clean Bill stuck in the stacker
E soon collect Bill box or cash box full
F soon check Bill box is out
G soon repair Bill validator failed
H soon repair Bill stacker failed
I soon repair Bill validator board fault
J soon repair Bill validator has no supply
K soon repair Bill validator does not answer
U soon repair Bill validator reports a fault of its own
""",
    "EO": """
A soon cooling Temperature sensor fault
B now cooling Compressor controller fault
C now cooling Compressor fault
D now cooling Compressor relay fault
E now cooling Shut off because too warm
F now cooling Capacitor fault
G now cooling Capillary tube blocked
H soon cooling Condenser fault or dirt
I soon cooling Condenser fan fault
J soon cooling Evaporator fault or ice
K soon cooling Evaporator fan motor fault
L now cooling Expansion valve fault
M now cooling Refrigerant has leaked; licensed work
N soon cooling Defrost controller fault
O soon cooling Defrost cut-out fault
P soon cooling Defrost heater fault
Q next_visit clean Condensate overflows
""",
    "EB": """
J soon fill No cups
""",
    "ED": """
J soon fill Ingredient empty
""",
    "EF": """
L now repair No water supply
""",
    "OA": """
A none none Maintenance
B none none Inspection
C none none Delivery of a machine
D none none Delivery and installation
E none none Installation
F none none Exchange of a machine
G none none Machine taken away
H none none Moved to another place
I none none Training
J none none Sanitised
K none none Filter changed
L none none Price changed
M none none Recipe changed
N none none Meters checked
O none none Carbon dioxide seen to
P none none Losses checked
Q none none Degreased
R none none Sterilised
S none none Figures taken for an authority
T none none Product changed
U none none Promotion started
1A none none Promotion ended
1B none none All products filled
1C none none One product filled
""",
    "OB": """
A next_visit check Wrongly loaded
B now check Door left open
C soon fill Product low or empty
D soon fill Cups
E next_visit check Product faulty
F next_visit check Cups faulty
G next_visit fill Carbon dioxide low
H next_visit clean Bucket
I soon repair Pipe
J next_visit check Wrong price
K soon change No change, or the wrong change
L next_visit repair Assembly
M next_visit repair Service wanted
N next_visit clean Duct
O soon collect Cash box full
P next_visit clean Coin mechanism dirty
Q next_visit clean Dirt
R next_visit clean Bill validator dirty
S next_visit check Card refused
T now cooling Not cold enough
""",
    "OC": """
A now check Theft
B now check Vandalism
C soon clean Way for coins blocked
D next_visit clean Something spilt
E soon clean Way for bills blocked
F soon check Power was cut
G soon check Water
H next_visit check Machine cannot be reached
I next_visit check Cheating
J next_visit check Network
K next_visit check Network
L next_visit check Cards or other means of payment
M soon repair Operating system failed
N next_visit check Configuration failed
""",
    "OD": """
A none none Part fitted on a return visit
B none none Coin mechanism replaced
C none none Cooling unit replaced
D none none Vandalism repaired
""",
    "OF": """
A none none Coins taken out
B none none Bills taken out
C none none Cashless figures handed over
D none none Coin tubes emptied
""",
}

# Ids of older standards that machines still send.
OLDER = """
DO none none Door was opened
"""

# Last two hexadecimal digits of EAU_00yy: the changer's own report by its bus protocol. 04 to 09
# and 0C are from a public driver's header; the rest from memory.
CHANGER_REPORTS = {
    "03": "no credit for a coin",
    "04": "tube sensor faulty",
    "06": "acceptor unplugged",
    "07": "tube jammed",
    "08": "program memory check failed",
    "09": "coin routed wrongly",
    "0C": "coin jam",
    "0D": "coin removal attempted",
}

# ENU_xx: the bill validator's own report by its bus protocol. 04 is fixed by the standard's
# table; the rest from memory.
BILL_REPORTS = {
    "01": "motor faulty",
    "02": "sensor faulty",
    "04": "program memory check failed",
    "05": "jammed",
    "07": "bill removed",
    "08": "cash box out",
}
