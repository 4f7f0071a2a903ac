### The texts of the pages about samples: entering them, a laboratory's file, events, samples, reports.

## Samples, site by site
menu-sampling = Samples
sampling-title = Samples
sampling-lead = { $n ->
    [0] No site is in your sight.
    [one] What to enter at your site, and its sampling events of late.
   *[other] What to enter at each of { $count } sites, and their sampling events of late.
 }
sampling-enter = Enter a sampling event
sampling-report = Laboratory’s file
sampling-begun = not sent yet
sampling-begun-event = A sampling event that you began; kept { $day }
sampling-begun-report = A laboratory’s file that you began to look at; kept { $day }
sampling-no-events = No sampling event was entered in the last four months.
sampling-none-title = No site yet
sampling-none = An administrator or a hygienist makes the first one.
find-events = Sampling events
needs-see-report = See the report

## Entering a sampling event
entry-title = Enter a sampling event
entry-lead-empty = One row a sample. Nothing is stored before you press “Store the event”.
entry-lead-rows = { $n ->
    [0] No sample yet.
    [one] One sample.
   *[other] { $count } samples.
 }
entry-lead-no-faults = Nothing is stored yet.
entry-lead-faults = { $n ->
    [one] One fault keeps the event from being stored.
   *[other] { $count } faults keep the event from being stored.
 }
entry-faults-title = { $n ->
    [one] One fault to mend
   *[other] { $count } faults to mend
 }
entry-kept-at = Your draft was kept at { $what }.
entry-kept-as-you-type = What you type is kept as a draft on the server, for your account alone, until you send it.
entry-not-kept = The draft could not be kept just now: the server does not answer. It is tried again at your next stroke.
entry-day = The day
entry-day-note = What is said here holds for every sample that says nothing else. Agents by code, CAS RN or name, with commas between them.
entry-expected = Expected at this site: { $what }.
entry-samples = Samples
entry-caption = Samples of the event, one row each
entry-row = Row
entry-sample = Sample
entry-of-sample = Sample { $n }, { $what }
entry-note-units = Write the unit with the value: 2.05 L/min, 2050 mL/min.
entry-note-times = Times are the clock of the site ({ $what }): 07:02–11:31 12:04–14:58, or 07:02 443 min. Controls by code, with blanks between them; none where nothing ran. Tinted columns are worked out; without script press “Work out”.
entry-note-clocks = Over an hour in which the clock of the site is put on or back, the minutes are those that passed: press “Work out”, and they stand as they are stored.
entry-note-keys = Enter goes down a column, Ctrl D copies from the row above, and rows of a spreadsheet can be pasted into any cell.
entry-reference = Reference of the event
entry-shift-date = Shift date (year-month-day)
entry-sampled-by = Sampled by
entry-purpose = Purpose
entry-shift-minutes = Shift length (480 min if empty)
entry-agents = Agents for the laboratory
entry-task = Task (code)
entry-method = Method
entry-medium = Medium
entry-lot = Lot of the medium
entry-calibrator = Calibrator
entry-calibrated-on = Calibrator’s own calibration on
entry-conditions = Weather, doors, anything that bears on the air
entry-number = Sample number
entry-position = Position
entry-worker = Worker (number)
entry-runs = On and off
entry-minutes = Minutes
entry-before = Flow before
entry-after = Flow after
entry-change = Change
entry-volume = Volume
entry-controls = Controls running
entry-date = Shift date, if another
entry-covers = Stands for
entry-duplicate-of = Duplicate of sample
entry-outcome = What became of it
entry-sampler-kind = Sampler
entry-representative = The day
entry-group = Group (code), if not the worker’s
entry-location = Place
entry-pump = Pump
entry-materials = Materials worked on
entry-arc = Arc time (min)
entry-share = Share of the time the controls ran (%)
entry-ppe = Protective equipment worn
entry-read-agent = Read on site: agent (noise if empty)
entry-read-value = Read on site: value with unit
entry-read-criterion = Read on site: criterion
entry-read2-agent = Second reading on site: agent
entry-read2-value = Second reading on site: value with unit
entry-read2-criterion = Second reading on site: criterion
entry-read3-agent = Third reading on site: agent
entry-read3-value = Third reading on site: value with unit
entry-read3-criterion = Third reading on site: criterion
entry-note = Note
entry-as-usual = as usual
entry-no-criterion = none
entry-alike-yes = like other days
entry-alike-no = not like other days
entry-none-running = none
entry-copy-what = Copy down which column
entry-copy-down = Copy down
entry-more-rows = Four more samples
entry-paste-title = Paste rows from a spreadsheet
entry-paste-what = Rows in the order of the columns above (number, position, worker, task, on and off, flow before, flow after, controls), with tabs between cells
entry-paste = Put them into the empty rows
entry-more-title = More about single samples
entry-more-note = Only where a sample differs from the day, or something happened to it.
entry-fault = Fault.
entry-remark = Remark.
entry-go = Go to the field
entry-flow-changed = The flow changed by more than 5 %. The sample is stored with this remark; look at the pump.
entry-store = Store the event
entry-work-out = Work out
entry-keep = Keep as a draft
entry-sheet = Field sheet to print
entry-discard = Throw the draft away
entry-foot = Nothing is stored until every fault is mended. Volume: mean of both flows × minutes run. Change: (after − before) ÷ before; a remark beyond 5 %.
entry-wrong-minutes = must be minutes or hours, such as 480 min or 8 h
entry-wrong-share = must be a share, such as 80 %
entry-wrong-time = “{ $what }” is no time. Write times as 07:02–14:58, or a start with minutes as 07:02 443 min
entry-wrong-clock = “{ $what }” holds a time that the clock of the site jumped over on that date
entry-wrong-flow = “{ $what }” is no flow. Write it as 2.05 L/min
entry-wrong-no-unit = “{ $what }” has no unit. Write { $what } L/min or { $what } mL/min
entry-wrong-flow-unit = “{ $what }” is no unit of flow here. Write L/min or mL/min
entry-wrong-level = “{ $what }” is no value with a unit. Write it as 84.5 dBA or 120 %
entry-wrong-level-unit = “{ $what }” is no unit of a reading here. Write dBA, %, mg/m3, ppm or another unit of exposure
entry-wrong-comma = “{ $what }” has a comma. Write the number with a decimal point
entry-wrong-worker = “{ $what }” is the number of nobody at this site. Write the employee number, and behind a comma the employer if it is not the site’s own
entry-wrong-workers = “{ $what }” is the number of several people. Write the employer behind a comma
entry-wrong-code = “{ $what }” is none of the codes here: { $by }
entry-wrong-no-codes = “{ $what }” is no code here: the site has none yet. A hygienist makes them
entry-wrong-agent = “{ $what }” is no agent that is known by code, CAS RN or name
entry-wrong-agents = “{ $what }” fits several agents. Write one of the codes { $by }
said-event-stored = The event is stored. What it says stands below.
said-draft-kept = Your draft is kept.
said-draft-dropped = The draft is thrown away.

## The field sheet
sheet-title = Field sheet
sheet-lead = The form on paper: the same fields in the same order. Print it across the page, fill it in at the pumps, and type it in from left to right.
sheet-to-form = Back to the form
sheet-empty = to fill in
sheet-codes = Codes
sheet-tasks = Tasks:
sheet-controls = Controls:

## Words of samples
position-breathing-zone = breathing zone
position-area = area
position-inlet = inlet
position-outlet = outlet
position-background = background
position-field-blank = field blank
purpose-routine = routine monitoring
purpose-baseline = to know where one starts from
purpose-worst-case = the worst case was looked for
purpose-control-trial = a control with and without
purpose-complaint = after a complaint
purpose-upset = during an upset of the process
purpose-emergency = during an emergency
purpose-other = anything else
covers-shift = the shift
covers-task = a task
covers-short-term = a short term
covers-duplicate = a duplicate
outcome-valid = went well
outcome-pump-failed = pump failed
outcome-lost = lost
outcome-damaged = damaged
outcome-contaminated = contaminated
outcome-not-analysed = never analysed
sampler-pumped = pump
sampler-passive = diffusion
sampler-dosimeter = dosimeter
result-status-submitted = not accepted yet
result-status-accepted = accepted
result-status-voided = voided

## A sampling event
event-title = Sampling event { $what }
event-lead = { $n ->
    [0] No sample.
    [one] One sample.
   *[other] { $count } samples.
 }
event-lead-waiting = { $n ->
    [one] One result waits for acceptance.
   *[other] { $count } results wait for acceptance.
 }
event-lead-awaited = { $n ->
    [one] One sample has no result yet.
   *[other] { $count } samples have no result yet.
 }
event-voided = This event is voided, and nothing of it is used: { $what }
event-no-samples-title = No sample
event-no-samples = An event without samples says nothing. Enter a new event with its samples.
event-caption = Samples with what they say. What nobody has accepted yet is dotted; a voided result is used in no conclusion.
event-who = Worker or place
event-remarks = Remarks
event-to-report = Enter a laboratory’s file
event-accept = { $n ->
    [one] Accept the result
   *[other] Accept all { $count } results
 }
event-void-why = Why is the whole event voided?
event-void = Void the event

## A sample
sample-title = Sample { $what }
sample-lead = { $n ->
    [one] One result.
   *[other] { $count } results.
 }
sample-lead-none = No result stands yet.
sample-lead-all-accepted = All are accepted.
sample-lead-waiting = { $n ->
    [one] One waits for acceptance.
   *[other] { $count } wait for acceptance.
 }
sample-corrected = corrected
sample-voided = This sample is voided, and used in no conclusion: { $what }
sample-not-done = Nothing was changed.
sample-field-reason = The reason
sample-field-agent-code = The agent
sample-field-sample-number = The sample number
sample-results = Results
sample-results-note = As they stand now. A result that nobody has accepted is used all the same, and counted as not accepted.
sample-none-title = No result yet
sample-none = The laboratory has not reported this sample. Enter its file as soon as it comes.
sample-no-value = no concentration can be made
sample-dose = dose { $what }
sample-mass = Mass as reported { $what }
sample-mass-corrected = after the field blanks { $what }
sample-lower-flow = By the lower flow it would be { $what }.
sample-status = The result is { $what }
sample-working-of = How the number for { $what } came about
sample-changes-of = What was done with the result for { $what }
sample-air = The air, and the day
sample-no-volume = No volume of air is known.
sample-volume = { $what } went through the sampler.
sample-flow-change = The flow changed by { $what }.
sample-working-air = How the volume came about
sample-working-other = How the numbers came about
sample-worker = Worker
fact-shift-date = Shift date
fact-shift-minutes = Shift length
fact-group = Group
fact-task = Task
fact-calibrated-on = Calibrator calibrated on
fact-conditions = Conditions
sample-judge = Accept or void
sample-judge-note = Both are kept with your name and the time, and can be read for good.
sample-which = Which
sample-all-results = all that wait
sample-whole = the whole sample
sample-accept-why = Remark (if there is something to say)
sample-accept = Accept
sample-void-why = Why is it voided?
sample-void = Void
sample-withdraw = Take the voiding back
sample-choose-why = Why should this analysis stand?
sample-choose = Let this one stand
sample-changes = What was done with it
sample-changes-note = Nothing is overwritten: earlier values stay readable here and in the journal.
changes-head = { $what } { $day }, by { $by }
changes-from-to = { $what }: { $who } instead of { $by }
deed-recorded = recorded
deed-corrected = corrected
deed-voided = voided
deed-voiding-withdrawn = voiding taken back
deed-accepted = accepted
deed-replaced = replaced by a later result
deed-stands-again = stands again
deed-chosen-to-stand = chosen to stand
said-results-accepted = Accepted.
said-voided = Voided. It stays readable.
said-voiding-withdrawn = The voiding is taken back.
said-standing-chosen = This analysis stands now.

## A laboratory's file
lab-title = Laboratory’s file
lab-lead = Send the file of the laboratory. You will see what would be stored and every fault, row by row, before anything is.
lab-lead-rows = { $n ->
    [0] The file holds no row that can be read.
    [one] The file holds one row.
   *[other] The file holds { $count } rows.
 }
lab-lead-sound = It has no fault, and nothing is stored yet: look at it and store it below.
lab-lead-head = Nothing is stored: something is to be mended first.
lab-lead-faulty = { $n ->
    [one] One row has a fault, and nothing is stored.
   *[other] { $count } rows have faults, and nothing is stored.
 }
lab-faults-title = To be mended first
lab-no-file = choose the file of the laboratory; none was sent
lab-head = The report
lab-head-note = As it stands at the head of the laboratory’s paper.
lab-report-number = Report number
lab-laboratory = Laboratory
lab-received-on = Received on (year-month-day)
lab-part = Part, if in several
lab-revision = Revision, if there is one
lab-accreditation = Accreditation
lab-file = The file
lab-file-what = As the laboratory sends it.
lab-file-note = A CSV file with a line of column names. sample_number, agent, value, unit and reporting_limit must be there; these may be: { $what }.
lab-file-kept = { $what } is kept as it was sent, { $day }. It stays here until you store it or throw it away.
lab-choose = File (CSV)
lab-choose-other = Another file in its place (CSV)
lab-hold = Keep rows whose sample is not known; they wait in sight until they are matched or dismissed
lab-agents = Names of agents
lab-agents-note = The registry does not know these names, or knows several agents by them. Say once what each stands for; it holds for the whole file.
lab-agent-is = “{ $what }” is
lab-agent-none = not said yet
lab-look = Look at the file
lab-look-again = Look again
lab-rows = What would be stored
lab-rows-faulty = Rows with faults come with what is wrong in them, column by column.
lab-no-rows = No row of the file can be read.
lab-caption = Rows of the file with what they would become.
lab-line = Line
lab-becomes = Becomes
lab-waits = waits for its sample
lab-row-faults = { $n ->
    [one] one fault
   *[other] { $count } faults
 }
lab-more-faulty = { $n ->
    [one] One more row has faults.
   *[other] { $count } more rows have faults.
 }
lab-more-sound = { $n ->
    [one] One more row has none.
   *[other] { $count } more rows have none.
 }
lab-row-itself = The row:
lab-column-sample-number = Sample number
lab-column-agent = Agent
lab-column-quantity = Quantity
lab-column-comparator = Comparator
lab-column-value = Value
lab-column-unit = Unit
lab-column-reporting-limit = Reporting limit
lab-column-detection-limit = Detection limit
lab-column-blank-corrected = Blank corrected
lab-column-estimated = Estimated
lab-column-replaces = Replaces
lab-column-analysed-on = Analysed on
lab-store = Store the report
lab-discard = Throw the file away
lab-foot = A report is stored whole or not at all, and once, however often the button is pressed. A fault in the file is mended in the file: send the mended one above.
said-report-stored = The report is stored.
said-file-changed = The file, or what was said of it, has changed since: look at it again.

## A laboratory report
report-title = Laboratory report { $what }
report-lead = { $n ->
    [0] No result.
    [one] One result.
   *[other] { $count } results.
 }
report-waiting = { $n ->
    [one] One row waits for its sample.
   *[other] { $count } rows wait for their samples.
 }
report-voided = This report is voided with its results: { $what }
report-held = Rows that came without a known sample
report-held-note = Each is matched with its sample, or dismissed by a hygienist with a reason.
held-waiting = waits for its sample
held-matched = matched
held-dismissed = dismissed
report-match-what = Number of its sample
report-match = Match
report-dismiss-why = Why does it belong to no sample?
report-dismiss = Dismiss
report-no-rows = No result of this report stands.
report-caption = Results of the report. What nobody has accepted yet is dotted.
report-mass = Mass
report-value = Concentration
report-status = State
report-void-title = Void
report-void-note = All of its results are voided with it; they stay readable.
report-void = Void the report
said-row-matched = The row is matched; its result stands with the sample.
said-row-dismissed = The row is dismissed. It stays readable.
