"""The cautions, once, for help texts, summaries and reports. Words only."""

from typing import Final

IN_SHORT: Final = (
    "Testing gas alarms can move valves, stop fans and shut plant down. Tell everyone whom that "
    "may reach, keep other protection in place while you test, and restore it after. Local codes "
    "and licensed practice come first. Gaswitness only reads; a virtual panel protects nobody."
)

POWER: Final = (
    "This is arithmetic on what the site file says. A joint, a longer run or a warmer duct is not "
    "in it. Measure the voltage at the last device with everything on, on mains and on battery, "
    "before anyone relies on it. The maker's manual, local codes and licensed practice come first."
)

TIMING: Final = (
    "This is arithmetic on what the site file says of panel and link. Another master on the line, "
    "a busy panel or a bad cable is not in it: measure before anyone relies on it. Polling a panel "
    "in service can slow it down for others; agree with whoever runs it. Local codes, the maker's "
    "manual and licensed practice come first."
)

HANDOVER: Final = (
    "The panel protects; what reads it over Modbus shows and records, and is no part of a safety "
    "function. A value that is old, missing or in fault says nothing of the gas. Writing to a "
    "panel can silence, reset or blind it: agree who may. Test every point end to end before "
    "anyone relies on it. Local codes, the maker's manual and licensed practice come first."
)

CAUTIONS: Final = (
    "Testing gas alarms can close valves, stop or start fans, sound evacuation signals and shut "
    "plant down. Get a permit to work where the site has them.",
    "Tell beforehand: the people in the building, the plant's operators, whoever watches the "
    "building management system, and the alarm receiving centre or fire service if signals go "
    "there. Tell them again when the test is over.",
    "While a channel is inhibited or a panel is under test, it does not protect. Keep other "
    "protection in place (portable detectors, a watch, ventilation), and check that every inhibit "
    "is taken away and every latch is reset at the end.",
    "Test gas is itself a hazard: toxic, flammable or asphyxiating, under pressure. Only people "
    "who are trained for it apply it.",
    "Gaswitness only reads from a real panel. It writes nothing, presses no key and applies no "
    "gas: people do, and they answer for it.",
    "A verdict `reported` means that the panel says so over the wire. It is no proof that the "
    "valve moved or that the sounder can be heard.",
    "The virtual panel is for rehearsal. It protects nobody and is no detector, no controller, "
    "and no part of a safety function.",
    "Local codes, the standards in force, the maker's manual and licensed practice come before "
    "anything that this program says.",
)

BEFORE_A_SEARCH: Final = (
    "A search sends on the line, at settings that may be wrong for it. On a line in service that "
    "can disturb other devices and masters: take the line out of service first, with leave of "
    "whoever runs it, and let no other master talk meanwhile.",
    "What hangs on the line may trip, alarm or go to a safe state when its polling stops or its "
    "line is disturbed. Tell those whom that may reach, and keep other protection in place.",
    "The search reads one register and the identification of each unit id and writes nothing. A "
    "device that does not keep to the protocol may still act on what it hears.",
    "Local codes, the maker's manual and licensed practice come first.",
)
