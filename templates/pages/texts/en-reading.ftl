
### The texts of the reading pages: groups, controls, workers, the journal.

## Figures and tables
figure-number = Figure { $what }.
figure-table = The numbers of figure { $what }, and the same in words

## Limits
limits-caption = Limits for { $what } in force on this day, each with whose it is and where it is written.
limits-kind = Kind
limits-authority = Whose
limits-value = Level
limits-averaged = Averaged over
limits-source = Written in
limits-eight-hours = eight hours
limits-minutes = { $n ->
    [one] one minute
   *[other] { $count } minutes
 }
limits-instant = no time, at any moment
limits-today = Each shift was judged by the limits of its own day; these are the limits of the day from which you look.

## A group
group-not-known = Nothing has been measured of { $what } in this group, so nothing is known.
group-stands = { $what }: { $who }, as { $by } reads the monitoring rounds of this group.
group-no-standing = No limit gives this group a standing for { $what }.
group-percentile = By the statistics of the newest era at most one shift in twenty is above { $what } (upper limit of the 95th percentile, 95 % confidence).
group-posterior = The results are too few for a fit; with a probability of 95 % the 95th percentile lies below { $what }.
group-nothing-title = Nothing is known yet
group-nothing = Nobody’s exposure in this group has been measured in its newest era, or no agent is named for it. First name the agents that are expected here, then sample some shifts of some workers; each sample needs its worker and its group.
group-results = Results of the newest era
group-below = { $n ->
    [one] one below a reporting limit
   *[other] { $count } below a reporting limit
 }
group-all-accepted = all accepted
group-not-accepted = { $n ->
    [one] one not accepted yet
   *[other] { $count } not accepted yet
 }
group-owed = Monitoring owed
group-nothing-owed-short = none
group-nothing-owed-note = no clause asks for more now
group-nothing-owed = No clause asks for more monitoring of this group and agent now. That is no proof that none is wise.
group-distribution = Distribution
group-distribution-note = Each shift against the share of shifts at or below it. On a straight line the results are log-normal.
group-remarks = To be known before these numbers are used:
group-time = Over time
group-time-note = Shaded: the middle 90 % of shifts by the fit of each era. A limit is drawn for the days on which it was the one.
group-between = Between workers
group-between-note = Whether it is one group is for a hygienist to judge; nothing is split by itself.
group-one-not-told = Too few workers have two shifts or more, all of them above reporting limits, to tell whether it is one group.
group-apart = { $n ->
    [0] Of { $what } workers with two shifts or more none has an own mean that is not the group’s.
    [one] Of { $what } workers with two shifts or more one has an own mean that is not the group’s. Of twenty about one does by chance.
   *[other] Of { $what } workers with two shifts or more { $count } have an own mean that is not the group’s. Of twenty about one does by chance.
 }
group-workers = The workers who were measured, each with a page
group-posterior-title = What is likely
group-posterior-note = Where the 95th percentile probably lies, by the newest era and a flat prior. It stands beside the standing and moves nothing.
group-standing = Standing and monitoring
group-standing-note = The law’s reading of monitoring rounds. It moves by the rules of the standard alone, and the statistics above move nothing.
group-never-moved = The standing of this group has not moved yet.
group-tasks = Tasks
group-tasks-note = What each control did to the exposure is on the page of its task.

## A profile
profile-caption = Profile by era, the newest first: 8-hour averages, one for each worker and shift.
profile-measure = Measure
profile-not-given = not given
profile-not-known = not known
profile-no-interval = no interval can be given
profile-up-to = up to { $what }
profile-controls = Controls in place
profile-no-control = none
profile-results = Results
profile-n-below = { $what }, { $who } of them below a reporting limit
profile-workers-dates = Workers, dates
profile-largest = Largest result
profile-geometric-mean = Geometric mean
profile-gsd = Geometric standard deviation
profile-mean-level = Mean level (95 % limits, one-sided)
profile-level-deviation = Standard deviation of levels
profile-arithmetic-mean = Arithmetic mean (95 % limits, one-sided)
profile-percentile = 95th percentile
profile-percentile-70 = its upper limit, 70 % confidence
profile-percentile-95 = its upper limit, 95 % confidence
profile-exceedance = Share of shifts above the limit (upper limit, 95 % confidence)
profile-at-action-level = Chance of a day at or above the action level (95 % limits, one-sided)
profile-posterior-percentile = 95th percentile, posterior median (95 % quantile)
profile-posterior-mean = Arithmetic mean, posterior (5 and 95 % quantiles)
profile-fit = Does the shape fit? (Shapiro and Wilk)
profile-en-689 = Test of EN 689
profile-between = Range between the means of workers
profile-fold = { $what }-fold
profile-method = How it was estimated
profile-limit = Read against
profile-by-exact = all detected: closed forms, exact limits
profile-by-maximum-likelihood = some below reporting limits: maximum likelihood
profile-by-posterior-only = too little detected for a fit: posterior only
profile-by-none = nothing to estimate from
en-689-compliance = compliance
en-689-non-compliance = non-compliance
en-689-no-decision = no decision yet
en-689-stage-preliminary = preliminary, 3 to 5 results
en-689-stage-statistical = statistical, 6 results or more
criterion-osha-limit = dose from 90 dBA
criterion-osha-action-level = dose from 80 dBA
criterion-niosh = 3 dB exchange rate

## Standing with its moves
standing-by = by 8-hour averages against the levels of { $by }
standing-by-short = by { $what } against the level of { $by }
standing-since = since { $day }
standing-round = round of { $day }
standing-taken-back = later facts took earlier moves back
standing-taken-back-since = taken back since by another move
standing-from-the-beginning = from the beginning
standing-learned = { $day }, journal entry { $entry }
standing-moves-caption = Moves of the standing as they were written down, the latest first. None is ever deleted.
standing-from = From
standing-stands = Stands
standing-before = Stood before
standing-whose = Read
standing-why = Why
standing-written = Written
averaging-eight-hour = 8-hour averages
averaging-stel = the short-term limit
averaging-excursion = the excursion limit
averaging-ceiling = the ceiling
caution-duties = What is named here appears to be asked for by the clauses beside it. The registry informs: a licensed professional and the law in force decide.

## What more results would tell
missing-title = What is missing
missing-note = What is open about the newest era, and what would settle it.
missing-nothing = By the rules that this registry counts by nothing is missing now.
missing-dates = Do these results describe the group?
missing-dates-more = { $n ->
    [one] Sample on one more date: below three dates nothing describes a group.
   *[other] Sample on { $count } more dates: below three dates nothing describes a group.
 }
missing-results = Is the limit complied with, statistically?
missing-results-more = { $n ->
    [one] One more shift: the statistical test of EN 689 takes six results, and from six on the 95th percentile is given as an estimate.
   *[other] { $count } more shifts: the statistical test of EN 689 takes six results, and from six on the 95th percentile is given as an estimate.
 }
missing-above = Is the limit complied with, statistically?
missing-surely = Is at most one shift in twenty above the limit, with 95 % confidence?
missing-results-if = { $n ->
    [one] About one more shift would settle it, if mean and spread stay as they are.
   *[other] About { $count } more shifts would settle it, if mean and spread stay as they are.
 }
missing-above-do = The upper limit of the 95th percentile is above the limit. More results narrow it only if they lie lower; a control that lowers the exposure does more.
missing-one-group = Is it one group?
missing-one-group-more = { $n ->
    [one] A second shift of one more worker: three workers with two shifts each are needed to tell.
   *[other] Second shifts of { $count } more workers: three workers with two shifts each are needed to tell.
 }
missing-coarse = Is a level reached?
missing-coarse-do = Some reporting limits are too high to tell. Sample longer or with more flow, or agree on a lower reporting limit with the laboratory.
missing-accepted = Do the results hold?
missing-accepted-more = { $n ->
    [one] Accept or void one result that nobody has looked at.
   *[other] Accept or void { $count } results that nobody has looked at.
 }

## A control on a task
task-nothing = Nothing was measured on this task yet, or no control stood on it. A verdict needs samples of the task without the control and with it, the other controls being the same, and each sample must say what ran.
task-controls = { $n ->
    [one] One control was on this task.
   *[other] { $count } controls were on this task; each has a verdict of its own.
 }
task-minutes = A usual shift has { $what } minutes of this task.
task-minutes-unknown = How many minutes of a usual shift this task takes is not stated.
task-nothing-missing = What the results can decide about this control is decided.
task-remarks = To be known before these numbers are used, and what is not compared
task-working = How the numbers came about: { $what }
task-limits = Limits
task-limits-note = Limits of 8-hour averages stand in figures only beside 8-hour averages: all other values are means over the sampled time.
task-no-limit = No limit for { $what } is in force here on this day.
control-short-term = { $what }, short term
control-reduction = reduction in %: { $what }
control-shifts = { $what } shifts without, { $who } with
control-target = Target, { $what } % lower
control-target-chance = chance that it is met: { $what }
control-remains = What remains to be breathed
control-remains-measured = 95th percentile of whole shifts on which it ran, with a chance of 95 %
control-remains-projected = projected from the task, no whole shift with it was measured
control-kind-elimination = the hazard is taken away
control-kind-substitution = replaced by something less harmful
control-kind-engineering = an engineering control
control-kind-administrative = the way the work is done
control-kind-respirator = a respirator
control-kind-other-protective-equipment = other protective equipment
target-met = met
target-not-met = not met
target-unsettled = unsettled
sufficiency-below-action-level = below action level
sufficiency-below-limit = below limit
sufficiency-above-limit = above limit
sufficiency-unsettled = unsettled
plain-lowered = With this control people breathe less { $what } than without it.
plain-raised = With this control people breathe more { $what } than without it.
plain-no-difference = This control makes no difference that would count to how much { $what } people breathe.
plain-undecided = Whether this control helps people to breathe less { $what } cannot be told yet.
plain-nothing = What this control does to the { $what } that people breathe was not measured in a way that can be compared.
plain-confounded = Other things differed too, so this does not show that the control did it.
plain-below-action-level = What is left is below the action level in all but few shifts.
plain-below-limit = What is left is below the limit in all but few shifts, and not surely below the action level.
plain-above-limit = What is left is still above the limit in too many shifts.
plain-unsettled = Whether what is left is little enough cannot be told yet.
caution-controls = A verdict is about the shifts that were sampled. Whether a control is enough, and what must be done besides, a licensed professional and the law in force decide.
missing-what-it-does = { $what }: what does it do?
missing-shifts-each = { $n ->
    [one] About one more shift in each state, if difference and spread stay as they are.
   *[other] About { $count } more shifts in each state, if difference and spread stay as they are.
 }
missing-both-states = Sample shifts without it and with it at this position, the other controls being the same.
missing-few = { $what }: do so few dates describe it?
missing-few-do = Sample each state on at least three dates.
missing-did-it = { $what }: was it the control?
missing-did-it-do = { $what } Sample both states under the same conditions.
missing-remains = Is what remains little enough?
missing-remains-do = Sample more whole shifts on which it runs all the time: their 95th percentile must lie on one side of the levels with a chance of 95 %.
missing-projected = Is what remains measured?
missing-projected-do = It is projected from the task. Sample whole shifts on which the control runs.
missing-accepted-at = { $what }: do the results hold?

## A worker
worker-title = Exposure history
worker-employment = { $what } at { $who }, { $day } to { $by }
worker-still = today
worker-also = { $n ->
    [one] One more entry is the same person; what was recorded under it is in here.
   *[other] { $count } more entries are the same person; what was recorded under them is in here.
 }
worker-lead = In { $by } assessed years the exposure to { $who } came to { $what }.
worker-lead-missing = A further { $what } years were never assessed and are not in it.
worker-lead-levels = { $who } was assessed over { $by } years; levels are not added up to a dose.
worker-lead-nothing = Nothing was measured that tells of the exposure to { $who }, so nothing is known.
worker-in-part = Only what happened on your sites is shown here; there may be more elsewhere.
worker-band = { $what }; the band takes every mean at its one-sided 95 % limits
worker-respirator = { $what } with assumed protection: { $who }
worker-cumulative = Cumulative exposure
worker-not-assessed = Not assessed
worker-not-assessed-note = not counted as zero
worker-years = { $what } years
worker-between = { $what } to { $who }
worker-equal-energy = Mean level by equal energy
worker-intensity = Average while exposed
worker-years-exposed = over { $what } years with a mean above zero
worker-measured = Rests on measured shifts
worker-measured-note = of the assigned time; the rest on nothing, or on a judgement
worker-days = Days at or above action level
worker-days-note = by where the groups stood, worst 12 months, all sites together
worker-days-measured = { $what } of own averages, worst 12 months
worker-lag = Leave out the last (years)
worker-lag-wrong = must be a whole number from 0 to 60
worker-known-on = As known at the end of (year-month-day)
worker-who-looked = Who looked at this history
worker-life = Life line
worker-life-note = Assignments and eras, intensity against the limit of today, cumulative exposure: one axis of time. What is hatched has no data.
worker-not-accepted = { $n ->
    [one] One result behind the means is not accepted yet.
   *[other] { $count } results behind the means are not accepted yet.
 }
worker-surveillance = Surveillance
worker-surveillance-note = The rule’s own count decides; the chance stands beside it.
worker-no-clause = No clause of the rule sets in force looks at { $what } for this worker.
worker-clauses-caption = Every clause that looks at this agent, met or not.
worker-clause = Clause
worker-clause-answer = What it amounts to
worker-clause-days = Days counted
worker-clause-of = { $what } of { $who } needed
worker-clause-not-told = not told: days are at sites out of your sight, or the clause cannot be read
worker-clause-behind = Resting on
worker-clause-measured = measured: { $what }
worker-clause-represented = by the group or a record: { $what }
worker-clause-planned = planned: { $what }
worker-clause-chance = Chance that the days are enough within 12 months
worker-nothing-title = No agent is known for this worker
worker-nothing = No group of this worker was measured, and no agent is expected in any. Assign the worker to a group, name its agents, and sample.
worker-duties-note = About this worker, for every agent; none is ever deleted.
worker-no-duty = No duty about this worker.
worker-work = Work
worker-packet = What the examining professional is given, for { $what }
worker-work-note = As it is recorded now; an assignment that was withdrawn is in the journal.
worker-assignments-caption = Assignments, the earliest first.
worker-assignment = Group
worker-from-to = From, to
worker-schedule = Schedule
worker-hours = { $what } shifts a week of { $who } hours
worker-job = Job title
worker-respirator-head = Respirator
worker-worn = { $what }, worn { $who } of the exposed time
worker-no-assignment = No assignment is in sight.
worker-earlier-caption = Exposure at earlier employers, as it was told or recorded there; it is in no figure above.
worker-earlier-employer = Employer
worker-earlier-days = Days a year
worker-earlier-mean = Mean
worker-earlier-unknown = not known
worker-earlier-source = Known from
worker-earlier-note = Whether such time counts for a clause is said beside the clause.
worker-corrected-entry = The entry of this worker was corrected: earlier values
worker-corrected-assignment = The assignment to { $what } was corrected: earlier values
worker-purpose = What for
worker-purpose-note = This look is in the access log already, which the worker can see. You may say what it is for; that is shown to physicians and to you alone.
worker-purpose-label = Purpose (no finding)
worker-purpose-state = Put it into the log
worker-purpose-kept = It stands in the log beside this look.
worker-record = This record was made on { $day } for { $who } from journal entry { $entry }. It holds the exposure to { $what }; every other agent has a record of its own. It states exposures and no medical finding.
worker-record-check = Check value of the history: { $what }.
worker-record-chain = Chain { $what }, { $entry } entries, head { $by }.

## The journal
menu-journal = Journal
journal-title = Journal
journal-lead = Every change up to entry { $entry }, in the order in which it was recorded. Nothing is overwritten: a correction is an entry of its own, and the earlier value stays readable.
journal-kind = Kind of fact
journal-every-kind = every kind
journal-from = From entry
journal-from-wrong = must be the number of an entry, such as 41882
journal-of-fact = These are the entries of one fact.
journal-whole = The whole journal
journal-nothing-title = No entry in this choice
journal-nothing = Nothing in your sight was recorded here. Choose another site, or an earlier entry to begin with.
journal-caption = Entries, the newest first. A gap in the numbers is an entry out of your sight.
journal-position = Entry
journal-what = { $what }: { $who }
journal-what-head = What
journal-when = When
journal-who = Who
journal-earlier = Earlier ones
journal-later = Later ones
journal-entry = entry { $what }
journal-recorded = What was recorded
journal-recorded-note = As it was entered, beside what stood there before.
journal-not-readable = The entry stands in your sight, and what it holds does not: your account may not read this fact, or it was lawfully disposed of.
journal-caption-changed = The fact before and after. What changed is struck on the left and marked on the right.
journal-caption-first = The fact as it was entered first.
journal-field = Field
journal-before = Before
journal-now = As recorded
journal-earlier-entry = The entry before of this fact
journal-all-entries = All entries of this fact
journal-proof = Proof
journal-proof-note = By these hashes each entry holds on to the one before it.
journal-chain = Chain { $what }, entry { $entry } of it.
journal-image-digest = Digest of what was recorded
journal-entry-hash = Hash of this entry
journal-previous-hash = Hash of the entry before
journal-console-user = the console, { $who }
account-registry = the registry itself
account-console = the console
account-you = you
account-another = another account

## Who looked at whom
menu-access-log = Who looked
looked-title-worker = Who looked at { $who }
looked-title-all = Who looked at whom
looked-lead-worker = Every answer that named { $who }, or may have. It is the worker’s right to know; this page can be printed and handed over.
looked-lead-all = Every answer that named workers. No worker is named here; who looked at one of them stands on the page of that worker.
looked-nothing-title = Nobody has looked yet
looked-nothing = As soon as an answer names this worker, a line stands here.
looked-caption = The newest first.
looked-whom = At whom
looked-request = By which request
looked-from = From where
looked-one = one worker
looked-several = { $n ->
    [one] one worker of: { $what }
   *[other] { $count } workers of: { $what }
 }
looked-by-name = named
looked-in-bulk = may have been among them
looked-purpose-kept = stated, shown to physicians alone

## Anchors
menu-anchors = Anchors
anchors-title = Anchors
anchors-lead = The record proves itself entry by entry. What it cannot prove alone is that its end was not cut off, up to entry { $entry } as of now: for that an anchor must be kept elsewhere.
anchors-newest = An anchor of now
anchors-chains = { $n ->
    [one] It holds one chain.
   *[other] It holds { $count } chains.
 }
anchors-keep = Download it and keep it where nobody who runs this registry can change it: with an auditor, a notary, a works council, or printed in a folder. Take one a day, or after each piece of work that must last.
anchors-download = Download the anchor
anchors-show = Show its text
anchors-prove = Proving the record against one
anchors-prove-what = On the machine of the registry, with an anchor that was kept, this says whether anything was cut off or written anew since:
anchors-key = The key that signs
anchors-key-since = Known since { $what }
anchors-key-what = Anchors are signed with this key. Keep its fingerprint beside the anchors:
anchors-key-download = Download the public key
anchors-earlier = Keys that signed before
anchors-earlier-what = Older anchors and bundles stay proved by the key that signed them. When a key is replaced, it announces the next one in a statement that it signs; whoever kept an older key follows the statements to the present one.
anchors-earlier-announced = it announced the key that followed it
anchors-earlier-alone = it announced no other
anchors-earlier-download = Download the announcements

## Backups
menu-backups = Backups
backups-title = Backups
backups-lead = A backup is one file with everything that cannot be computed afresh. It is made while people work, and restores on either engine.
backups-position = Journal entries to save
backups-engine = Engine
backups-schema = schema { $what }
backups-software = Release
backups-make = Making one
backups-make-what = On a machine that reaches the database:
backups-make-often = Make one as often as a day’s work is worth, by the timer of the machine, and move it to another place. It prints the SHA-256 of the file: keep that line apart from it. It holds names and secrets of accounts: encrypt it on the way and where it lies.
backups-restore = Restoring one
backups-restore-what = Into an empty database, which may be of the other engine. The journal is replayed entry by entry, and a file that is cut off, changed or newer than the program is refused:
backups-restore-try = Try it once a quarter on a machine that nobody works with: a backup that was never restored is a hope.
backups-know = What this registry knows of them
backups-know-what = It keeps no list of its backups: where they lie, and how old the newest is, the one who keeps them must watch. Whether a restored record is whole shows the proof against an anchor.

## A site, cut down to one agent
site-only = Groups and controls of { $what } alone.
site-whole = Show all of this site

## Corrections
corrected-sample = Sample { $what } was corrected: earlier values

## Kinds of facts
fact-kind-site = site
fact-kind-account = account
fact-kind-token = token
fact-kind-agent = agent
fact-kind-limit = limit
fact-kind-clause = clause
fact-kind-compared-with = limit that a total is compared with
fact-kind-mixture-set = agents that act alike
fact-kind-pack-row = row of the rule pack
fact-kind-rule-set = rule set
fact-kind-monitoring-option = monitoring option
fact-kind-holiday = holiday
fact-kind-release = emergency release
fact-kind-group = group
fact-kind-condition = condition of a group
fact-kind-change = change of the work
fact-kind-expected-agent = agent expected in a group
fact-kind-joined-era = eras joined
fact-kind-judgement = judgement
fact-kind-task = task
fact-kind-control = control
fact-kind-control-period = control in place
fact-kind-worker = worker
fact-kind-employment = employment
fact-kind-earlier-exposure = earlier exposure
fact-kind-assignment = assignment
fact-kind-worked-day = day worked
fact-kind-absence = absence
fact-kind-alias = entries of one person
fact-kind-medical-ground = medical ground
fact-kind-record-request = request for a record
fact-kind-respirator-confirmation = respirator confirmed
fact-kind-sampling-event = sampling event
fact-kind-sample = sample
fact-kind-lab-report = laboratory report
fact-kind-result = result
fact-kind-held-row = row that waits for its sample
fact-kind-direct-readings = direct readings
fact-kind-duty = duty
fact-kind-duty-action = answer to a duty
fact-kind-standing-move = move of a standing
fact-kind-letter = letter
fact-kind-legal-hold = legal hold
fact-kind-disposal = disposal
fact-kind-hand-over = hand over
fact-kind-taken-over = taken over
fact-kind-original = file as it was sent

## Words of figures
period-from-to = { $day } to { $by }
period-since = since { $day }
period-to = to { $day }
period-always = all the time
figure-position-breathing-zone = Breathing zone
figure-position-area = Room
figure-position-inlet = Inlet of the filter
figure-position-outlet = Outlet of the filter
figure-position-background = Background
figure-position-field-blank = Field blank
basis-own = own shifts
basis-group = shifts of the group
basis-posterior = too little detected; posterior mean
basis-judgement = judgement of a hygienist
basis-none = nothing
gap-not-employed-here = not employed here
gap-no-assignment = no assignment
gap-no-data-in-era = never measured
gap-data-cannot-tell = measured, and the results cannot tell
limit-kind-twa = limit
limit-kind-stel = short-term limit
limit-kind-ceiling = ceiling
limit-kind-excursion = excursion limit
limit-kind-action-level = action level
limit-kind-peak = peak
figure-duty-open = due
figure-duty-met = completed
figure-duty-overdue = late
figure-duty-declined = declined
figure-duty-waived = waived
figure-duty-withdrawn = withdrawn
count-assignment = { $n ->
    [one] { $count } assignment
   *[other] { $count } assignments
 }
count-day = { $n ->
    [one] { $count } day
   *[other] { $count } days
 }
count-era = { $n ->
    [one] { $count } era
   *[other] { $count } eras
 }
count-group = { $n ->
    [one] { $count } group
   *[other] { $count } groups
 }
count-result = { $n ->
    [one] { $count } result
   *[other] { $count } results
 }
count-result-is = { $n ->
    [one] { $count } result is
   *[other] { $count } results are
 }
count-sample = { $n ->
    [one] { $count } sample
   *[other] { $count } samples
 }
count-shift = { $n ->
    [one] { $count } shift
   *[other] { $count } shifts
 }
count-value = { $n ->
    [one] { $count } value
   *[other] { $count } values
 }
count-worker = { $n ->
    [one] { $count } worker
   *[other] { $count } workers
 }
count-worker-day = { $n ->
    [one] { $count } worker-day
   *[other] { $count } worker-days
 }
count-year = { $n ->
    [one] { $count } year
   *[other] { $count } years
 }
