"""What the commands import, done once: each process that is killed starts from here."""

from __future__ import annotations

import formcheck.agree.again
import formcheck.agree.comparison
import formcheck.agree.page
import formcheck.agree.rewrite
import formcheck.agree.write
import formcheck.batch.run
import formcheck.cli
import formcheck.judged
import formcheck.log.calibrate
import formcheck.log.enter
import formcheck.log.erase
import formcheck.log.exchange
import formcheck.log.page.page
import formcheck.log.today
import formcheck.report.page.page
import formcheck.report.tables  # noqa: F401
