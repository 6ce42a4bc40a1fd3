"""What drawn forms print and what is written into them: trade wording, and invented goods and people.

The wording of headings and labels is common practice on order pads (no source). Every firm, good, person and
street is invented.
"""

from numpy.random import Generator


def _split(words: str) -> tuple[str, ...]:
    return tuple(w.strip() for w in words.split("|"))


HEADINGS: dict[str, tuple[str, ...]] = {
    "quantity": _split(
        "Qty|Qty|Qty|Qty.|Quantity|Quantity|Quantity|No.|No. off|No off|How many|How many?|Number wanted|No. wanted|"
        "Pcs|Pieces|Units|Amount wanted|Quant.|Quan.|Qnty|No. reqd|No. req'd|Number required|Qty required|Qty reqd|"
        "Qty ordered|Order qty|Quantity ordered|No. of items|No. of packs|Packs|Number|Sets|Boxes|Jars|Bags|Trays|"
        "How many would you like?|Number of|Your quantity|Ordered|Qty wanted|Bundles|Number taken|x|Copies|Bottles"
    ),
    "unit_price": _split(
        "Price|Price|Price each|Price each|Unit price|Unit price|Each|Each|@|Cost each|Rate|£ each|Item price|Ea.|Price ea.|"
        "Price per item|Unit cost|Price £|Price (£)|Each £|Price per unit|Cost per item|Single price|At|@ each|Price/unit|"
        "Price per pack|Catalogue price|Cat. price|List price|Price of one|One costs|Per item|Price for one|Unit £|"
        "Unit|Price a piece|Price (each)|Cat. £|Selling price|Our price|Price inc. VAT|Per pack|Per jar|Basic price"
    ),
    "line_total": _split(
        "Total|Total|Total|Amount|Amount|£ p|Line total|Sum|Value|Cost|Total price|Total price|To pay|Extension|Total £|"
        "Total (£)|Amount £|Amount (£)|Total cost|Item total|Total amount|Price × Qty|Qty × price|Order value|Totals|"
        "Amount due|Line value|Comes to|Sum £|Total value|Cost £|Extended price|Ext.|Amt|Row total|Makes|Total to pay|"
        "Cost of all|Price for all|Total for line|Goods value|Net amount|Price total|In all|Line amount|Value £"
    ),
    "code": _split(
        "Code|Code|Code no.|Cat. no.|Cat. no.|Cat no|Item no.|Item no.|Ref|Ref.|Ref. no.|Article|Article no.|Art. no.|"
        "Product no.|Product code|Order no.|Stock no.|Stock code|Item code|Catalogue number|Catalogue no.|Order code|"
        "Our ref|Number|Item number|Prod. code|Lot|Lot no.|Pattern no.|Design no.|List no.|Part no.|Cat. ref.|SKU|"
        "Line no.|Product ref|No. in catalogue|Code number|Reference|Item|Style no.|Plu"
    ),
    "description": _split(
        "Description|Description|Description|Item|Item|Goods|Article|Product|Product|Name of item|Details|Particulars|"
        "What you'd like|Item description|Description of goods|Articles|Goods required|Name of product|Title|Variety|"
        "Name of article|Product name|Product description|Items ordered|Goods ordered|What would you like?|Item name|"
        "Order|Your choice|Item & description|Contents|Please send me|Kind|Plant|Book title|Pattern|Name|Sort|Descr."
    ),
    "size": _split(
        "Size|Size|Size|Sizes|Size/colour|Size & colour|Weight|Length|Width|Age|Size / age|Pot size|Wt.|g / kg"
    ),
    "page": _split(
        "Page|Page|Page no.|Page no|Pg|Pg.|P.|Cat. page|Catalogue page|Page number|Page in book|p. no."
    ),
    "other": _split(
        "Colour|Colour|Shade|Flavour|Strength|Scent|Batch|Tick|Notes|Pack|VAT?|VAT|Bag no.|Office|Office use|Row|Line|"
        "Gift?|Wrap|In stock|Shelf|Packed|Done|1st choice|2nd choice|Col.|Remarks|Offer|Initials|Sent|Bin|Pts|Points|"
        "Finish|Fabric|Grade|Dept|Date|Left|Alternative|Personal message|Checked"
    ),
    "row": _split("No.|Line|#|Row|Item|No|Nr|Line no."),
}
"""Headings by kind of column; ``row`` heads the printed row numbers, which are no boxes to write in."""

LABELS: dict[str, tuple[str, ...]] = {
    "goods": _split(
        "Goods total|Sub-total|Subtotal|Sub total|Total goods|Goods|Total of goods|Value of goods|Goods value|Order subtotal|"
        "Total for goods|Total of items|Net total|Total before delivery|Items total|Order value|Sum of goods|"
        "Total of lines above|Cost of goods|Merchandise total|Total of this page|Page total|Lines total|Total value of goods|"
        "Sub-total (A)|Total A|1. Goods|Add up your goods|Goods (inc. VAT)"
    ),
    "delivery": _split(
        "Delivery|Delivery|Delivery charge|Carriage|Postage|Post|P&P|P & P|p&p|Post & packing|Postage & packing|"
        "Postage and packing|Shipping|Delivery fee|Plus delivery|Add delivery|Add carriage|Add postage|+ delivery|"
        "Plus postage|Delivery cost|Carriage charge|Packing|Handling|Delivery (if any)|Small order charge|Freight|"
        "Delivery £2.50|P&P (see overleaf)|Add £3.95 p&p|Carriage & packing|Post and packing|Add P&P|To your door|"
        "Delivery (free over £40)|Plus p & p|Delivery (B)|2. Delivery|Service charge|Insurance & post|Surcharge"
    ),
    "discount": _split(
        "Discount|Discount|Less discount|Less voucher|Minus discount|Voucher|Less offer|Money off|Rebate|Loyalty discount|"
        "Club discount|Less 10%|Discount (if any)|Less: discount|Less 5% discount|Gift voucher|Reduction|Allowance|"
        "Members' discount|- discount|Trade discount|Less returns|Less credit note|Minus voucher|Special offer less"
    ),
    "deposit": _split(
        "Deposit|Deposit|Less deposit|Paid|Deposit paid|Amount paid|Already paid|Less paid|Paid on account|Paid already|"
        "Less deposit paid|Part paid|Received|Paid with order|Paid in advance|Cash paid|Less amount paid|Prepaid|"
        "Deposit taken|Paid to date|Less payment|Payment enclosed|Minus deposit"
    ),
    "other_total": _split(
        "Number of items|Total items|No. of items|Items|Total quantity|Points|Points earned|Total points|VAT included|"
        "Incl. VAT|VAT incl.|No. of parcels|Bags|Boxes|Includes VAT of|Stamps|No. of lines|Items in all|Total pieces"
    ),
    "total": _split(
        "Total|Total|Total|TOTAL|Grand total|Total due|Amount due|To pay|Balance|Balance due|Please pay|Total to pay|"
        "Order total|Total £|Total enclosed|Amount to pay|Final total|Total amount|Total payable|You pay|Amount payable|"
        "Total order|Now due|To be paid|Total amount due|Pay this amount|Invoice total|Overall total|Total to collect|"
        "Cash to pay|Total of order|Grand total £|All together|Total price|Sum to pay|Total now due|Outstanding|"
        "Total (A + B)|3. Total|Add up: you pay|Total inc. VAT|Total order value|Left to pay|Still to pay"
    ),
}
"""Labels by kind of totals box."""

SHORT_LABELS: dict[str, tuple[str, ...]] = {
    "goods": _split("Goods|Sub|Sub-total|Net|Subtotal|S/total"),
    "delivery": _split("Del.|P&P|Post|Carr.|Delivery|Carriage|Dely|P+P"),
    "discount": _split("Less|Disc.|Discount|Voucher|Off"),
    "deposit": _split("Paid|Dep.|Deposit|Less paid|Rec'd"),
    "other_total": _split("Items|Pts|Bags|VAT|Pcs"),
    "total": _split("Total|TOTAL|Due|To pay|Pay|Balance|£ Total|Total £"),
}

_FIRM = _split(
    "Quillmere|Harrowdene|Tansy & Thrift|Bramblecote|Oldwick|Fernlea|Penhallow's|Marlstone|Wicketts|Corncrake|Larkrise|"
    "Dunmallow|Thornbeck|Applegarth|Hazelby|Winterfold|Sallowfield|Copperwell|Greenhithe|Moorland|Lindenbrook|Roskeld|"
    "Pebblecombe|Ashgrove|Swallowtail|Meadowcroft|Inkerdale|Brackenridge|Fallowby|Elderwood|Nettlebed Hall|Orrin's"
)
_TRADE = _split(
    "Seeds|Bulbs & Plants|Candles|Wools|Bakery|Honey|Stationery|Cards & Wrap|Tea Merchants|Soaps|Fine Foods|Preserves|"
    "Fabrics|Haberdashery|Books|Toys|Crafts|Nursery|Herbs|Provisions|Dairy|Textiles|Ceramics|Prints|Poultry Feeds|Fireside|"
    "Garden Supplies|Pet Foods|Knitwear|Footwear|Hampers|Confectionery|School Wear|Charity Sales|Orchards|Farm Shop"
)
TITLES = _split(
    "ORDER FORM|Order form|Order|Order slip|ORDER SLIP|Your order|Customer order|Order sheet|Order pad|Sales order|"
    "Catalogue order form|Order blank|Purchase order|ORDER|Home order form|My order|Book your order here|Sales docket|"
    "Order card|Delivery order|Spring order form|Winter order|Order & delivery|Docket|Club order form|Order ticket"
)
SECTIONS = _split(
    "Bread|Cakes|For the garden|Bulbs|Seeds|Cards|Gift wrap|Woollens|Soaps|Candles|Dairy|Preserves|Adults|Children|New items|"
    "Spring|Autumn|Sweet|Savoury|Small packs|Large packs|Pets|Kitchen|Hampers|Books|Page 1|Section B"
)
_BLURB = _split(
    "Please use block capitals|Please write clearly in ballpoint pen|Thank you for your order|Thank you!|"
    "Please leave this slip with your catalogue|We call again on Thursday|Prices include VAT|Allow 14 days for delivery|"
    "Press hard, you are making two copies|One article per line, please|Please check your sums|E&OE|"
    "White copy: office. Pink copy: customer|Goods remain our property until paid for|Keep this copy for your records|"
    "Please put catalogue out for collection|Orders over £30 delivered free|Cheques payable to the agent|"
    "No stamp needed|Continue overleaf if needed|Please do not fold|See page 2 for sizes|Subject to availability|"
    "Happy with your goods? Tell a friend!|Return this form in the bag|Your agent will collect on the date below|"
    "Closing date for orders: Friday noon|Substitutes offered unless crossed here|Please tick box|Offer ends 30 June|"
    "Please fill in and return|All weights approximate|Ask for our autumn list|Delivered to your door"
)
_TERMS = _split(
    "goods may be returned within fourteen days|all orders are subject to acceptance|prices correct at time of printing|"
    "the agent will call on the day stated|we do not share your details|please keep this part as your receipt|"
    "refunds are made in the way you paid|the customer's rights are not affected|delivery is made to one address only|"
    "cash or cheque on delivery|colours may vary from those shown|orders received after noon go out the next day|"
    "perishable goods cannot be returned|the firm is not liable for delays|minimum order ten pounds"
)
FIELDS = _split(
    "Name|Name|Name|Customer|Address|Address|Postcode|Tel|Telephone|Phone|Mobile|Street|Town|House no.|Mr/Mrs/Miss|"
    "Email|Surname|First name|Block|Flat|Round|Deliver to|Sold to|Road|Village"
)
DATED = _split(
    "Date|Date|Order date|Date:|Delivery date|Collect on|Call day|Week|Week no.|Agent|Round no.|Area|Route|Acct no."
)
SERIALS = _split("No.|No|No.|Nº|Slip no.|Order no.|Form no.|Serial no.|Ref.|Docket no.||#|Ticket no.|Sheet")
OFFICE = _split(
    "Picked|Packed|Checked|Sent|Rec'd|Keyed|Init.|Batch|Office|Date in|Date out|Van|Bay|Entered|Posted|Filed|By|Clerk|Round|"
    "Inv.|Ledger|Stamp|Bag|Crate|Driver"
)
OFFICE_TITLES = _split(
    "For office use only|Office use|FOR OFFICE USE|Office use only|Do not write here|Agent's use|Warehouse"
)
PAYMENTS = _split(
    "Cash|Cheque|Card|Postal order|Account|Transfer|Voucher|Direct debit|On account|Pay on delivery|Agent|Stamps|Club fund"
)
PAYMENT_TITLES = _split(
    "How will you pay?|Payment|Payment method|Method of payment|Please tick|Paid by|I am paying by"
)
ADVERTS = _split(
    "NEW!|Free gift over £25|Save 10%|2 for £5|Ask for samples|Join our club|Now in store|Try our jam|Half price|Wow!|Bargain"
)

_ADJECTIVES = _split(
    "red|blue|green|white|small|large|mixed|sweet|plain|striped|wild|rose|lemon|soft|dwarf|early|late|gold|silver|oat|"
    "brown|pink|thick|fine|double|mini|tall|cream|spring|winter|lavender|mint|honey|dark|navy|grey"
)
_NOUNS = _split(
    "tulips|soap|candle|wool|jam|biscuits|tea|cards|wrap|ribbon|seeds|beans|peas|loaf|rolls|eggs|cheese|scarf|socks|"
    "hat|gloves|bulbs|fern|ivy|thyme|basil|calendar|notebook|pens|paper|cushion|apron|tea towel|mug|bowl|plate|print|"
    "book|bear|kite|puzzle|fudge|toffee|marmalade|chutney|cordial|cake|scones|flour|oats|bird seed|hay|bran|lace|buttons|"
    "thread|yarn|felt|buckle|slippers|shirt|blouse|skirt|jumper|vest|posy|wreath|garland|tray|basket|matches|envelopes"
)
_FIRST = _split(
    "A|B|C|D|E|F|G|H|J|K|L|M|N|P|R|S|T|W|Ann|Jean|Mary|Tom|Alan|Ruth|Joy|Ken|Sue|Ivy|Pat|Rose|Dot|Ray|Mo|June"
)
_LAST = _split(
    "Abbot|Barley|Clegg|Dunmore|Eddery|Farrow|Gable|Hollin|Ingle|Jessop|Kettle|Lamb|Marsh|Nettle|Orme|Pask|Quayle|Rudd|"
    "Sorrel|Tranter|Upton|Varley|Wick|Yarrow|Brook|Tanner|Cope|Hurst|Flint|Mead|Thorne|Lowe|Peel|Garth|Dale"
)
_STREET = _split(
    "Mill Lane|High St|Church Rd|Orchard Way|Station Rd|The Green|Elm Close|Park View|Hill Top|Back Lane|Ash Grove|"
    "Bridge St|School Lane|Meadow Rd|Kiln Row|Pond End|Fern Bank|Quarry Rd|Rose Cottage|Lime Ave|Beech Walk|West St"
)


def pick(rng: Generator, words: tuple[str, ...]) -> str:
    """Return one of `words`."""
    return words[int(rng.integers(len(words)))]


def cased(rng: Generator, words: str, style: str) -> str:
    """Return `words` in the case of a form: ``upper``, ``lower``, ``title`` or ``as is``."""
    if style == "upper":
        return words.upper()
    if style == "lower":
        return words.lower()
    if style == "title":
        return " ".join(w[:1].upper() + w[1:] for w in words.split(" "))
    return words


def firm(rng: Generator) -> str:
    """Return the name of an invented firm."""
    return f"{pick(rng, _FIRM)} {pick(rng, _TRADE)}" if rng.random() < 0.8 else pick(rng, _FIRM)


def blurb(rng: Generator) -> str:
    """Return one line of print such as forms carry."""
    return pick(rng, _BLURB)


def terms(rng: Generator) -> str:
    """Return a clause of small print."""
    return pick(rng, _TERMS)


def goods(rng: Generator) -> str:
    """Return an invented article."""
    noun = pick(rng, _NOUNS)
    chance = rng.random()
    if chance < 0.4:
        return f"{pick(rng, _ADJECTIVES)} {noun}"
    if chance < 0.5:
        return f"{pick(rng, _ADJECTIVES)} {noun} {int(rng.integers(1, 9)) * 50}g"
    if chance < 0.55:
        return f"{pick(rng, _ADJECTIVES)} & {pick(rng, _ADJECTIVES)} {noun}"
    if chance < 0.6:
        return f"{noun} (pk {int(rng.integers(2, 13))})"
    return noun


def person(rng: Generator) -> str:
    """Return the name of an invented customer."""
    return f"{'Mrs ' if rng.random() < 0.25 else ''}{pick(rng, _FIRST)} {pick(rng, _LAST)}"


def street(rng: Generator) -> str:
    """Return an invented address line."""
    return f"{int(rng.integers(1, 140))} {pick(rng, _STREET)}"


def small_word(rng: Generator) -> str:
    """Return what people write in a narrow column: a size, a colour, a tick's initial."""
    chance = rng.random()
    if chance < 0.3:
        return pick(rng, ("S", "M", "L", "XL", "12", "14", "9", "40", "16", "10", "6", "A", "B", "1", "2"))
    return pick(rng, _ADJECTIVES)
