BEGIN TRANSACTION;
CREATE TABLE batch (
  "batch" TEXT PRIMARY KEY,
  "parent" TEXT,
  "kind" TEXT,
  "opened_utc" TEXT,
  "closed_utc" TEXT,
  "species" TEXT,
  "total_mass_g" TEXT,
  "sub_mass_g" TEXT,
  "counted" INTEGER,
  "measured" INTEGER,
  "selection" TEXT,
  "preservation" TEXT,
  "presentation" TEXT,
  "end_reason" TEXT,
  "practice" INTEGER,
  "skipped" TEXT
);
INSERT INTO "batch" VALUES('bay',NULL,NULL,'2026-05-04T00:00:00Z','2026-05-04T00:00:00Z',NULL,NULL,NULL,NULL,3,NULL,NULL,NULL,'done',0,'[]');
INSERT INTO "batch" VALUES('dry',NULL,NULL,'2026-05-04T00:00:00Z','2026-05-04T00:00:00Z',NULL,NULL,NULL,NULL,1,NULL,NULL,NULL,'enough',1,'["K-00056"]');
CREATE TABLE coded (
  "seq" INTEGER PRIMARY KEY,
  "specimen_id" TEXT,
  "field" TEXT,
  "scale" TEXT,
  "code" TEXT,
  "missing_reason" TEXT,
  "who" TEXT,
  "at_utc" TEXT,
  "supersedes" INTEGER,
  "status" TEXT
);
INSERT INTO "coded" VALUES(26,'00000000-0000-7000-8000-000000000008','sex','sex','F',NULL,NULL,'2026-05-04T00:00:00Z',NULL,'stands');
INSERT INTO "coded" VALUES(42,'00000000-0000-7000-8000-000000000015','sex','sex','F',NULL,NULL,'2026-05-04T00:00:00Z',NULL,'stands');
CREATE TABLE container (
  "number" TEXT PRIMARY KEY,
  "specimen_id" TEXT,
  "structure" TEXT,
  "taken" INTEGER,
  "side" TEXT,
  "condition" TEXT,
  "kind" TEXT,
  "dried" INTEGER,
  "state" TEXT,
  "at_utc" TEXT
);
INSERT INTO "container" VALUES('K-00013','00000000-0000-7000-8000-000000000008','otolith',NULL,NULL,NULL,'envelope',NULL,'filled','2026-05-04T00:00:00Z');
INSERT INTO "container" VALUES('K-00021','00000000-0000-7000-8000-000000000015','otolith',NULL,NULL,NULL,'envelope',NULL,'filled','2026-05-04T00:00:00Z');
INSERT INTO "container" VALUES('K-00048','00000000-0000-7000-8000-000000000021','otolith',NULL,NULL,NULL,'envelope',NULL,'filled','2026-05-04T00:00:00Z');
INSERT INTO "container" VALUES('K-00056',NULL,NULL,NULL,NULL,NULL,'envelope',NULL,'skipped','2026-05-04T00:00:00Z');
CREATE TABLE entry (
  seq INTEGER PRIMARY KEY,
  kind TEXT NOT NULL,
  input_seq INTEGER,
  specimen_id TEXT,
  data TEXT NOT NULL,
  hash BLOB NOT NULL
);
INSERT INTO "entry" VALUES(1,'configured',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"config_sha256":"0000000000000000000000000000000000000000000000000000000000000000","setup":{"bench":"bench","instruments":[{"division":"1","emptied":"each","keys":{},"kind":"length","maximum":null,"minimum":null,"name":"board","places":["table"],"port":"port-board","profile":"p","serves":null},{"division":"1","emptied":"stream","keys":{},"kind":"mass","maximum":null,"minimum":null,"name":"scale","places":["table"],"port":"port-scale","profile":"p","serves":null},{"division":"5","emptied":"none","keys":{},"kind":"mass","maximum":null,"minimum":null,"name":"hand-scale","places":["table"],"port":"port-hand-scale","profile":"p","serves":null},{"division":null,"emptied":"each","keys":{},"kind":"identifier","maximum":null,"minimum":null,"name":"scanner","places":["table"],"port":"port-scanner","profile":"p","serves":null},{"division":null,"emptied":"each","keys":{"P1":"next","P2":"undo","P3":"dance","P4":"recall 1"},"kind":"key","maximum":null,"minimum":null,"name":"pedal","places":["table"],"port":"port-pedal","profile":"p","serves":null}],"places":["table"],"protocol":{"codes":{"sex":{"scale":"sex","values":{"F":"female","M":"male"}}},"containers":{"check":"mod-11-10","first":"K-00013","label":"K-####?","structure":"otolith"},"measurands":[{"name":"total_length","quantity":"length","rounding":{"rule":"below","step":"1 cm"}},{"name":"whole_mass","quantity":"mass"}],"name":"test solo","species":{"perch":{"limits":{"total_length":{"possible":["30","600"],"usual":["60","450"]},"whole_mass":{"possible":["0.5","3500"]}},"title":"perch"},"pike":{"title":"pike"}}}}},"boot":"boot","clock_ok":true,"input":null,"kind":"configured","mono_ns":2000000000,"seq":1,"specimen":null,"v":1}',X'0B48C6C72F46991B2F83C472CF5FAA2070373728CAC8ED2570D12A37D5A1B24F');
INSERT INTO "entry" VALUES(2,'started',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"config":"0","version":"0"},"boot":"boot","clock_ok":true,"input":null,"kind":"started","mono_ns":3000000000,"seq":2,"specimen":null,"v":1}',X'7A2004A2E976C18B12BA35DB43932F6F8F0A6A3EFA247FD12EB7FE430AA5CE07');
INSERT INTO "entry" VALUES(3,'port',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"instrument":"board","port":"port-board","present":true,"profile":"p"},"boot":"boot","clock_ok":true,"input":null,"kind":"port","mono_ns":4000000000,"seq":3,"specimen":null,"v":1}',X'4E3A83A9B5DFE640E9F83158B4F5B54C2215B835827861C9E053FB3C6AF8F6A3');
INSERT INTO "entry" VALUES(4,'port',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"instrument":"scale","port":"port-scale","present":true,"profile":"p"},"boot":"boot","clock_ok":true,"input":null,"kind":"port","mono_ns":5000000000,"seq":4,"specimen":null,"v":1}',X'0F09214A7E1CCB64C13DE5150D8FC95A9BC302D6A014A88C682563AAFB28FDF1');
INSERT INTO "entry" VALUES(5,'port',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"instrument":"hand-scale","port":"port-hand-scale","present":true,"profile":"p"},"boot":"boot","clock_ok":true,"input":null,"kind":"port","mono_ns":6000000000,"seq":5,"specimen":null,"v":1}',X'6458C247CC3B9037AA939D4C572CB0DEA23709296166A2D35D5DF72EB0248A11');
INSERT INTO "entry" VALUES(6,'port',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"instrument":"scanner","port":"port-scanner","present":true,"profile":"p"},"boot":"boot","clock_ok":true,"input":null,"kind":"port","mono_ns":7000000000,"seq":6,"specimen":null,"v":1}',X'E4D3CB41EDDB0AEF2130F6EC7CE2A18D2C5149ADDB0A69A947F605F21CADFED2');
INSERT INTO "entry" VALUES(7,'port',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"instrument":"pedal","port":"port-pedal","present":true,"profile":"p"},"boot":"boot","clock_ok":true,"input":null,"kind":"port","mono_ns":8000000000,"seq":7,"specimen":null,"v":1}',X'013DE13E3534E6B8D1634DFA02A7156116053DD9636B0284B707B0FDBF305EFB');
INSERT INTO "entry" VALUES(8,'act',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"act":"batch","args":["open","bay"],"ids":["00000000-0000-7000-8000-000000000008"],"place":null,"via":"cli"},"boot":"boot","clock_ok":true,"input":null,"kind":"act","mono_ns":9000000000,"seq":8,"specimen":null,"v":1}',X'1BE9B1B2427434FF628F472F659EB04176F360BEABF619B1F2393CB0BE90ECDC');
INSERT INTO "entry" VALUES(9,'batch',8,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"batch":"bay","op":"open","place":"table","practice":false,"species":null,"text":"batch bay open"},"boot":"boot","clock_ok":true,"input":8,"kind":"batch","mono_ns":9000000000,"seq":9,"specimen":null,"v":1}',X'DBBD9B7ADFBFF48A89D29B723B3509E8374610C2E609836250659D0F6408D3AD');
INSERT INTO "entry" VALUES(10,'opened',8,'00000000-0000-7000-8000-000000000008','{"at":"2026-05-04T00:00:00Z","body":{"batch":"bay","by":"batch","number":1,"place":"table","practice":false,"provisional":false,"species":null},"boot":"boot","clock_ok":true,"input":8,"kind":"opened","mono_ns":9000000000,"seq":10,"specimen":"00000000-0000-7000-8000-000000000008","v":1}',X'5A48377792B23210CF5825C4C951D349B36BD699248E3517DB31E73E08040CF3');
INSERT INTO "entry" VALUES(11,'act',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"act":"measurer","args":["ida"],"ids":["00000000-0000-7000-8000-000000000009"],"place":null,"via":"cli"},"boot":"boot","clock_ok":true,"input":null,"kind":"act","mono_ns":10000000000,"seq":11,"specimen":null,"v":1}',X'6F060F9E6FC575EB00E631F58CAFCD43C8FD6B440534E17DBC28DAD2569577C5');
INSERT INTO "entry" VALUES(12,'placed',11,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"place":"table","set":{"measurer":"ida"}},"boot":"boot","clock_ok":true,"input":11,"kind":"placed","mono_ns":10000000000,"seq":12,"specimen":null,"v":1}',X'C4CA8EE40727C76D4725D3A378228361C763C5E6C1A28BC2804C845588BFCF81');
INSERT INTO "entry" VALUES(13,'told',11,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"code":"measurer","place":"table","text":"measurer: ida"},"boot":"boot","clock_ok":true,"input":11,"kind":"told","mono_ns":10000000000,"seq":13,"specimen":null,"v":1}',X'6DDFD579E54403124AFF9A79AC1665498A697B623F8A52ADD64ABA0D1049C161');
INSERT INTO "entry" VALUES(14,'reading',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"arrived_ns":11000000000,"arrived_utc":"2026-05-04T00:00:00Z","base":"200","condition":"ok","ids":["00000000-0000-7000-8000-000000000010"],"instrument":"board","load":null,"plateau":1,"raw":"200 mm\r\n","samples":1,"settled":"each","spread":null,"unit":"mm","value":"200","zero_before":null},"boot":"boot","clock_ok":true,"input":null,"kind":"reading","mono_ns":11000000000,"seq":14,"specimen":null,"v":1}',X'756C33949B2964FAFF2A18B3C41C0CECF7D6347F0F04AC6C03A375E68143462D');
INSERT INTO "entry" VALUES(15,'outcome',14,'00000000-0000-7000-8000-000000000008','{"at":"2026-05-04T00:00:00Z","body":{"event":"fills","place":"table","reading":14},"boot":"boot","clock_ok":true,"input":14,"kind":"outcome","mono_ns":11000000000,"seq":15,"specimen":"00000000-0000-7000-8000-000000000008","v":1}',X'F01C48AD8574894FD85CF4A4587E3858C7D1AF146BED636ACA9BE31F4DDE1E8D');
INSERT INTO "entry" VALUES(16,'measured',14,'00000000-0000-7000-8000-000000000008','{"at":"2026-05-04T00:00:00Z","body":{"cause":null,"how":"instrument","instrument":"board","measurand":"total_length","measurer":"ida","number":1,"one_of":1,"place":"table","questioned":false,"raw_unit":"mm","raw_value":"200","reading":14,"recorder":null,"replicate":null,"rounded":"200","side":null,"supersedes":null,"taken_utc":"2026-05-04T00:00:00Z","unit":"mm","value":"200","verdict":1,"zero_before":null},"boot":"boot","clock_ok":true,"input":14,"kind":"measured","mono_ns":11000000000,"seq":16,"specimen":"00000000-0000-7000-8000-000000000008","v":1}',X'22B6B36095EA5F0D90C51D65ACCB71B65BBD795D002FB53AAEF4AAD89B3DADA4');
INSERT INTO "entry" VALUES(17,'arrival',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"baseline":"0","instrument":"scale","places":["table"]},"boot":"boot","clock_ok":true,"input":null,"kind":"arrival","mono_ns":12000000000,"seq":17,"specimen":null,"v":1}',X'AF4FC82DAAC2657AA59B83EA590BDCB163010D5FDE6E91ADE279DC567E11C08A');
INSERT INTO "entry" VALUES(18,'zeroed',17,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"instrument":"scale","zero":"0"},"boot":"boot","clock_ok":true,"input":17,"kind":"zeroed","mono_ns":12000000000,"seq":18,"specimen":null,"v":1}',X'6BCB37936F9F37F6298AA78BFB5E0C28EB3F1657DA2694F8ED1059FA4A29FE45');
INSERT INTO "entry" VALUES(19,'reading',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"arrived_ns":13000000000,"arrived_utc":"2026-05-04T00:00:00Z","base":"90","condition":"ok","ids":["00000000-0000-7000-8000-000000000012"],"instrument":"scale","load":null,"plateau":1,"raw":"90 g\r\n","samples":1,"settled":"mark","spread":null,"unit":"g","value":"90","zero_before":"0"},"boot":"boot","clock_ok":true,"input":null,"kind":"reading","mono_ns":13000000000,"seq":19,"specimen":null,"v":1}',X'C1FA7BB5C92D639954EB2758FAD850989542380386F9AF739D085619B9984C95');
INSERT INTO "entry" VALUES(20,'outcome',19,'00000000-0000-7000-8000-000000000008','{"at":"2026-05-04T00:00:00Z","body":{"event":"fills","place":"table","reading":19},"boot":"boot","clock_ok":true,"input":19,"kind":"outcome","mono_ns":13000000000,"seq":20,"specimen":"00000000-0000-7000-8000-000000000008","v":1}',X'19CC998964C2048806CD89903B22A8859A5847F1EBAEA21B0D4140FF55E43C8F');
INSERT INTO "entry" VALUES(21,'measured',19,'00000000-0000-7000-8000-000000000008','{"at":"2026-05-04T00:00:00Z","body":{"cause":null,"how":"instrument","instrument":"scale","measurand":"whole_mass","measurer":"ida","number":1,"one_of":1,"place":"table","questioned":false,"raw_unit":"g","raw_value":"90","reading":19,"recorder":null,"replicate":null,"rounded":null,"side":null,"supersedes":null,"taken_utc":"2026-05-04T00:00:00Z","unit":"g","value":"90","verdict":1,"zero_before":"0"},"boot":"boot","clock_ok":true,"input":19,"kind":"measured","mono_ns":13000000000,"seq":21,"specimen":"00000000-0000-7000-8000-000000000008","v":1}',X'DDFC6D233778FCAB79EF2D5F224FCDE4A37A6A2EBFCBE4753246885589A1CE12');
INSERT INTO "entry" VALUES(22,'ready',19,'00000000-0000-7000-8000-000000000008','{"at":"2026-05-04T00:00:00Z","body":{"number":1},"boot":"boot","clock_ok":true,"input":19,"kind":"ready","mono_ns":13000000000,"seq":22,"specimen":"00000000-0000-7000-8000-000000000008","v":1}',X'A7A022B799100CEAA8BF30D1D6193868E12AFCC5BEF0D1024599F19209D2EAA7');
INSERT INTO "entry" VALUES(23,'emptied',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"instrument":"scale","resting":"0"},"boot":"boot","clock_ok":true,"input":null,"kind":"emptied","mono_ns":14000000000,"seq":23,"specimen":null,"v":1}',X'AD5447AB2C91416C78ACEC4259C12E23B611DF93AB9C0BACA7774080BF6E2C55');
INSERT INTO "entry" VALUES(24,'zeroed',23,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"instrument":"scale","zero":"0"},"boot":"boot","clock_ok":true,"input":23,"kind":"zeroed","mono_ns":14000000000,"seq":24,"specimen":null,"v":1}',X'D4BCA0D1931EE99535B28B5A2B8888F903EFB4BEA39DFC33F7A1179A75793679');
INSERT INTO "entry" VALUES(25,'act',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"act":"code","args":["sex","F"],"ids":["00000000-0000-7000-8000-000000000014"],"place":null,"via":"cli"},"boot":"boot","clock_ok":true,"input":null,"kind":"act","mono_ns":15000000000,"seq":25,"specimen":null,"v":1}',X'47165BA90C81C8363CEEAA858DFB0EA78B070CD60E23CF41D32EC031A947BE8E');
INSERT INTO "entry" VALUES(26,'coded',25,'00000000-0000-7000-8000-000000000008','{"at":"2026-05-04T00:00:00Z","body":{"code":"F","field":"sex","missing_reason":null,"number":1,"place":"table","scale":"sex","supersedes":null,"who":null},"boot":"boot","clock_ok":true,"input":25,"kind":"coded","mono_ns":15000000000,"seq":26,"specimen":"00000000-0000-7000-8000-000000000008","v":1}',X'0E3AC78E0D94F0622B95DA51CA6D77531EFC49B36E23BF6B9D0F439FDF6288F5');
INSERT INTO "entry" VALUES(27,'scan',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"ids":["00000000-0000-7000-8000-000000000015"],"instrument":"scanner","text":"K-00013"},"boot":"boot","clock_ok":true,"input":null,"kind":"scan","mono_ns":16000000000,"seq":27,"specimen":null,"v":1}',X'A0BC8AD18A56C828E747C17343D37AD2F8A94D9ACBD71EA02C4C91B01F5C274F');
INSERT INTO "entry" VALUES(28,'container',27,'00000000-0000-7000-8000-000000000008','{"at":"2026-05-04T00:00:00Z","body":{"expected":"K-00021","fish":1,"kind":"envelope","number":"K-00013","place":"table","state":"filled","structure":"otolith","via":"scan"},"boot":"boot","clock_ok":true,"input":27,"kind":"container","mono_ns":16000000000,"seq":28,"specimen":"00000000-0000-7000-8000-000000000008","v":1}',X'31B437C9E2947A6475EA10B4C63FFA85BDECC063E7458654C1B4FC24AC442118');
INSERT INTO "entry" VALUES(29,'closed',27,'00000000-0000-7000-8000-000000000008','{"at":"2026-05-04T00:00:00Z","body":{"end":"complete","number":1,"place":"table"},"boot":"boot","clock_ok":true,"input":27,"kind":"closed","mono_ns":16000000000,"seq":29,"specimen":"00000000-0000-7000-8000-000000000008","v":1}',X'1C1A633BE0BC9464FD2BF4F27F8A6342D6AE45E4877F95310A72095C383350E2');
INSERT INTO "entry" VALUES(30,'opened',27,'00000000-0000-7000-8000-000000000015','{"at":"2026-05-04T00:00:00Z","body":{"batch":"bay","by":"container","number":2,"place":"table","practice":false,"provisional":false,"species":null},"boot":"boot","clock_ok":true,"input":27,"kind":"opened","mono_ns":16000000000,"seq":30,"specimen":"00000000-0000-7000-8000-000000000015","v":1}',X'49CDDD316B6F15FBACBEB4BFF299E1647722E3E9B741E629653236FAE13924DC');
INSERT INTO "entry" VALUES(31,'reading',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"arrived_ns":17000000000,"arrived_utc":"2026-05-04T00:00:00Z","base":"210","condition":"ok","ids":["00000000-0000-7000-8000-000000000016"],"instrument":"board","load":null,"plateau":1,"raw":"210 mm\r\n","samples":1,"settled":"each","spread":null,"unit":"mm","value":"210","zero_before":null},"boot":"boot","clock_ok":true,"input":null,"kind":"reading","mono_ns":17000000000,"seq":31,"specimen":null,"v":1}',X'61EB7348880860A7FBD7CE24EED3972954B78BF490A59EC02EC4110DF74E5954');
INSERT INTO "entry" VALUES(32,'outcome',31,'00000000-0000-7000-8000-000000000015','{"at":"2026-05-04T00:00:00Z","body":{"event":"fills","place":"table","reading":31},"boot":"boot","clock_ok":true,"input":31,"kind":"outcome","mono_ns":17000000000,"seq":32,"specimen":"00000000-0000-7000-8000-000000000015","v":1}',X'FDB6C4C81ED93F064555F47A797FC585CDAEF24CF1303234CE80ADE5245F6575');
INSERT INTO "entry" VALUES(33,'measured',31,'00000000-0000-7000-8000-000000000015','{"at":"2026-05-04T00:00:00Z","body":{"cause":null,"how":"instrument","instrument":"board","measurand":"total_length","measurer":"ida","number":2,"one_of":1,"place":"table","questioned":false,"raw_unit":"mm","raw_value":"210","reading":31,"recorder":null,"replicate":null,"rounded":"210","side":null,"supersedes":null,"taken_utc":"2026-05-04T00:00:00Z","unit":"mm","value":"210","verdict":1,"zero_before":null},"boot":"boot","clock_ok":true,"input":31,"kind":"measured","mono_ns":17000000000,"seq":33,"specimen":"00000000-0000-7000-8000-000000000015","v":1}',X'E66E85282D9466E6EAB88AD5053372BC82EFF4013292384B310BF0CB6655B43F');
INSERT INTO "entry" VALUES(34,'arrival',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"baseline":"0","instrument":"scale","places":["table"]},"boot":"boot","clock_ok":true,"input":null,"kind":"arrival","mono_ns":18000000000,"seq":34,"specimen":null,"v":1}',X'9AB33C7B4933E5409576C01D41787C3703FC5E4D8F59EA99D71BA11CC8CB0303');
INSERT INTO "entry" VALUES(35,'reading',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"arrived_ns":19000000000,"arrived_utc":"2026-05-04T00:00:00Z","base":"100","condition":"ok","ids":["00000000-0000-7000-8000-000000000018"],"instrument":"scale","load":null,"plateau":1,"raw":"100 g\r\n","samples":1,"settled":"mark","spread":null,"unit":"g","value":"100","zero_before":"0"},"boot":"boot","clock_ok":true,"input":null,"kind":"reading","mono_ns":19000000000,"seq":35,"specimen":null,"v":1}',X'4081B941F2CC585F5639121A6BD0DE7814483C628A4244DBF0CE860CF3040656');
INSERT INTO "entry" VALUES(36,'outcome',35,'00000000-0000-7000-8000-000000000015','{"at":"2026-05-04T00:00:00Z","body":{"event":"fills","place":"table","reading":35},"boot":"boot","clock_ok":true,"input":35,"kind":"outcome","mono_ns":19000000000,"seq":36,"specimen":"00000000-0000-7000-8000-000000000015","v":1}',X'E5AE72BA0F357BEE067995D976C398B778FCFF778D7AACB73ECB17E1DA34F330');
INSERT INTO "entry" VALUES(37,'measured',35,'00000000-0000-7000-8000-000000000015','{"at":"2026-05-04T00:00:00Z","body":{"cause":null,"how":"instrument","instrument":"scale","measurand":"whole_mass","measurer":"ida","number":2,"one_of":1,"place":"table","questioned":false,"raw_unit":"g","raw_value":"100","reading":35,"recorder":null,"replicate":null,"rounded":null,"side":null,"supersedes":null,"taken_utc":"2026-05-04T00:00:00Z","unit":"g","value":"100","verdict":1,"zero_before":"0"},"boot":"boot","clock_ok":true,"input":35,"kind":"measured","mono_ns":19000000000,"seq":37,"specimen":"00000000-0000-7000-8000-000000000015","v":1}',X'AEB893D0B874EE11B68CB00466D938CDBB903981A46113A6B8B74C34DB99AF88');
INSERT INTO "entry" VALUES(38,'ready',35,'00000000-0000-7000-8000-000000000015','{"at":"2026-05-04T00:00:00Z","body":{"number":2},"boot":"boot","clock_ok":true,"input":35,"kind":"ready","mono_ns":19000000000,"seq":38,"specimen":"00000000-0000-7000-8000-000000000015","v":1}',X'384C01C66263DBC725C1604B1CE8D6E411E6CDC7B7EE9C7398A3AF8410E61EC6');
INSERT INTO "entry" VALUES(39,'emptied',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"instrument":"scale","resting":"0"},"boot":"boot","clock_ok":true,"input":null,"kind":"emptied","mono_ns":20000000000,"seq":39,"specimen":null,"v":1}',X'A8BA31D81DE9BD958544CD9F4C9D08C55327DFE4F1488CB79CD5CD669A074618');
INSERT INTO "entry" VALUES(40,'zeroed',39,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"instrument":"scale","zero":"0"},"boot":"boot","clock_ok":true,"input":39,"kind":"zeroed","mono_ns":20000000000,"seq":40,"specimen":null,"v":1}',X'1B1283A6976546A470B3B5E05EF9B62B9187DA590D1E523D23B6F12D17A148AE');
INSERT INTO "entry" VALUES(41,'act',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"act":"code","args":["sex","F"],"ids":["00000000-0000-7000-8000-000000000020"],"place":null,"via":"cli"},"boot":"boot","clock_ok":true,"input":null,"kind":"act","mono_ns":21000000000,"seq":41,"specimen":null,"v":1}',X'1BA178E7C243F0F83A63752D54DAB7DC59A8FA40098E3BE0C3E8493DDB47B6D3');
INSERT INTO "entry" VALUES(42,'coded',41,'00000000-0000-7000-8000-000000000015','{"at":"2026-05-04T00:00:00Z","body":{"code":"F","field":"sex","missing_reason":null,"number":2,"place":"table","scale":"sex","supersedes":null,"who":null},"boot":"boot","clock_ok":true,"input":41,"kind":"coded","mono_ns":21000000000,"seq":42,"specimen":"00000000-0000-7000-8000-000000000015","v":1}',X'809DA3FF036FE1B0654AC3944CC38B4BF1D95A783C022E0A5FEC566D7B650FD4');
INSERT INTO "entry" VALUES(43,'scan',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"ids":["00000000-0000-7000-8000-000000000021"],"instrument":"scanner","text":"K-00021"},"boot":"boot","clock_ok":true,"input":null,"kind":"scan","mono_ns":22000000000,"seq":43,"specimen":null,"v":1}',X'D1786BA9E253B48E11CB887E0BDFA1EE08CC913621D9CA56F3C74B4F1989C9BE');
INSERT INTO "entry" VALUES(44,'container',43,'00000000-0000-7000-8000-000000000015','{"at":"2026-05-04T00:00:00Z","body":{"expected":"K-00030","fish":2,"kind":"envelope","number":"K-00021","place":"table","state":"filled","structure":"otolith","via":"scan"},"boot":"boot","clock_ok":true,"input":43,"kind":"container","mono_ns":22000000000,"seq":44,"specimen":"00000000-0000-7000-8000-000000000015","v":1}',X'4FE1F5DD6D809C3B6FDC8F6D5FF9D49924B868AC399C11730BE35355C75C3EDF');
INSERT INTO "entry" VALUES(45,'closed',43,'00000000-0000-7000-8000-000000000015','{"at":"2026-05-04T00:00:00Z","body":{"end":"complete","number":2,"place":"table"},"boot":"boot","clock_ok":true,"input":43,"kind":"closed","mono_ns":22000000000,"seq":45,"specimen":"00000000-0000-7000-8000-000000000015","v":1}',X'2BFF659234E5D2C0E75524615C84FC4A2E294680CEB181F7556ADBB0E625F6B1');
INSERT INTO "entry" VALUES(46,'opened',43,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"batch":"bay","by":"container","number":3,"place":"table","practice":false,"provisional":false,"species":null},"boot":"boot","clock_ok":true,"input":43,"kind":"opened","mono_ns":22000000000,"seq":46,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'380FA19306084EBD3419AABAEDE33DE804ABFE66499EC5C585AF27ECE80114BE');
INSERT INTO "entry" VALUES(47,'reading',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"arrived_ns":23000000000,"arrived_utc":"2026-05-04T00:00:00Z","base":"220","condition":"ok","ids":["00000000-0000-7000-8000-000000000022"],"instrument":"board","load":null,"plateau":1,"raw":"220 mm\r\n","samples":1,"settled":"each","spread":null,"unit":"mm","value":"220","zero_before":null},"boot":"boot","clock_ok":true,"input":null,"kind":"reading","mono_ns":23000000000,"seq":47,"specimen":null,"v":1}',X'60BF3816F0984A25415E7EBE127F73CC43A6A6A2CF5C4FC91EF900A2874835C0');
INSERT INTO "entry" VALUES(48,'outcome',47,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"event":"fills","place":"table","reading":47},"boot":"boot","clock_ok":true,"input":47,"kind":"outcome","mono_ns":23000000000,"seq":48,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'A40292FEB666A86D5AB6344B859461982F6C10953DE22C77CDEE3957B782CFD0');
INSERT INTO "entry" VALUES(49,'measured',47,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"cause":null,"how":"instrument","instrument":"board","measurand":"total_length","measurer":"ida","number":3,"one_of":1,"place":"table","questioned":false,"raw_unit":"mm","raw_value":"220","reading":47,"recorder":null,"replicate":null,"rounded":"220","side":null,"supersedes":null,"taken_utc":"2026-05-04T00:00:00Z","unit":"mm","value":"220","verdict":1,"zero_before":null},"boot":"boot","clock_ok":true,"input":47,"kind":"measured","mono_ns":23000000000,"seq":49,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'312F39635E9B1338A5C20F620CBFC5B602206BEB4D41723C16806D7CC1FF78FB');
INSERT INTO "entry" VALUES(50,'reading',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"arrived_ns":26000000000,"arrived_utc":"2026-05-04T00:00:00Z","base":"221","condition":"ok","ids":["00000000-0000-7000-8000-000000000023"],"instrument":"board","load":null,"plateau":1,"raw":"221 mm\r\n","samples":1,"settled":"each","spread":null,"unit":"mm","value":"221","zero_before":null},"boot":"boot","clock_ok":true,"input":null,"kind":"reading","mono_ns":26000000000,"seq":50,"specimen":null,"v":1}',X'683DE2788007A8B5879E9A4388296B644EC4C97B07CAAD7F121BC3C31475001E');
INSERT INTO "entry" VALUES(51,'outcome',50,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"event":"finds filled","place":"table","reading":50},"boot":"boot","clock_ok":true,"input":50,"kind":"outcome","mono_ns":26000000000,"seq":51,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'F9424038F7A70C2EFD24DF8E0AF297620AC234826A8250B8C0B919E0DCCD6FDC');
INSERT INTO "entry" VALUES(52,'asked',50,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"about":50,"args":{"instrument":"board","measurand":"total_length","number":3,"old":"220","unit":"mm","value":"221"},"code":"again-or-new","measurand":"total_length","place":"table","probability":null,"runner_up":null,"statistical":false,"text":"3 has total_length 220 already, now 221 mm: again or new?","verdict":2},"boot":"boot","clock_ok":true,"input":50,"kind":"asked","mono_ns":26000000000,"seq":52,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'ABC7187A7FE16CC4F09D1E32E1381746E8B81F5FDA2F1B967444437E90D557F4');
INSERT INTO "entry" VALUES(53,'act',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"act":"again","args":[],"ids":["00000000-0000-7000-8000-000000000024"],"place":null,"via":"cli"},"boot":"boot","clock_ok":true,"input":null,"kind":"act","mono_ns":27000000000,"seq":53,"specimen":null,"v":1}',X'9098AD537EF4617C1880E6EF8E9473BF3733796A462AF8EF3F8B28BF8EB32168');
INSERT INTO "entry" VALUES(54,'question',53,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"event":"answered","question":52},"boot":"boot","clock_ok":true,"input":53,"kind":"question","mono_ns":27000000000,"seq":54,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'9CFD739C972C88494FB946D60D8F97B7DECE6598A4C9912B853C762586517FD6');
INSERT INTO "entry" VALUES(55,'outcome',53,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"event":"given","place":"table","reading":50},"boot":"boot","clock_ok":true,"input":53,"kind":"outcome","mono_ns":27000000000,"seq":55,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'855476A8C86893C745BD7276842EE396E5A60629B16E875DFA8909839DD2A7A8');
INSERT INTO "entry" VALUES(56,'measured',53,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"cause":null,"how":"instrument","instrument":"board","measurand":"total_length","measurer":"ida","number":3,"one_of":1,"place":"table","questioned":false,"raw_unit":"mm","raw_value":"221","reading":50,"recorder":null,"replicate":null,"rounded":"220","side":null,"supersedes":49,"taken_utc":"2026-05-04T00:00:00Z","unit":"mm","value":"221","verdict":1,"zero_before":null},"boot":"boot","clock_ok":true,"input":53,"kind":"measured","mono_ns":27000000000,"seq":56,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'8FA28C9CFC6F811961ACACF6A4A6BAA367827C68216EF79658FAB2C1B6DAFE22');
INSERT INTO "entry" VALUES(57,'arrival',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"baseline":"0","instrument":"scale","places":["table"]},"boot":"boot","clock_ok":true,"input":null,"kind":"arrival","mono_ns":28000000000,"seq":57,"specimen":null,"v":1}',X'7D91F6C7FFF7767E96B4A0AD58340D4686F5C326FD25C31B21878AE31E92A5AF');
INSERT INTO "entry" VALUES(58,'reading',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"arrived_ns":29000000000,"arrived_utc":"2026-05-04T00:00:00Z","base":"120","condition":"ok","ids":["00000000-0000-7000-8000-000000000026"],"instrument":"scale","load":null,"plateau":1,"raw":"120 g\r\n","samples":1,"settled":"mark","spread":null,"unit":"g","value":"120","zero_before":"0"},"boot":"boot","clock_ok":true,"input":null,"kind":"reading","mono_ns":29000000000,"seq":58,"specimen":null,"v":1}',X'5244FFFCAC447B352673BD8FCAB7FC875E704B3F66A8DCFCE4CEED516B4337D6');
INSERT INTO "entry" VALUES(59,'outcome',58,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"event":"fills","place":"table","reading":58},"boot":"boot","clock_ok":true,"input":58,"kind":"outcome","mono_ns":29000000000,"seq":59,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'8D17A50F72AB723B2C623EA58214BBAFA5B8116A58C75F0AC8A9487B20D14F6C');
INSERT INTO "entry" VALUES(60,'measured',58,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"cause":null,"how":"instrument","instrument":"scale","measurand":"whole_mass","measurer":"ida","number":3,"one_of":1,"place":"table","questioned":false,"raw_unit":"g","raw_value":"120","reading":58,"recorder":null,"replicate":null,"rounded":null,"side":null,"supersedes":null,"taken_utc":"2026-05-04T00:00:00Z","unit":"g","value":"120","verdict":1,"zero_before":"0"},"boot":"boot","clock_ok":true,"input":58,"kind":"measured","mono_ns":29000000000,"seq":60,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'806E965829EB26B2E6B4C271EAAD9E581395EC3642C3235CC9BD3DDE82E82D6B');
INSERT INTO "entry" VALUES(61,'ready',58,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"number":3},"boot":"boot","clock_ok":true,"input":58,"kind":"ready","mono_ns":29000000000,"seq":61,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'565D5F66AA5174408F5108C34C15F20F49FC838141AEE6C743A1EC4818A3FB35');
INSERT INTO "entry" VALUES(62,'emptied',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"instrument":"scale","resting":"0"},"boot":"boot","clock_ok":true,"input":null,"kind":"emptied","mono_ns":30000000000,"seq":62,"specimen":null,"v":1}',X'A46203BAF4FD92F8606FC1F6646001D91895F285482BA78843459ACD24BF8E87');
INSERT INTO "entry" VALUES(63,'zeroed',62,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"instrument":"scale","zero":"0"},"boot":"boot","clock_ok":true,"input":62,"kind":"zeroed","mono_ns":30000000000,"seq":63,"specimen":null,"v":1}',X'CD59642E2D673C2E97D4FB2FAFA16FE42708194D57F5E1ECCC461711C8BDBDB0');
INSERT INTO "entry" VALUES(64,'scan',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"ids":["00000000-0000-7000-8000-000000000028"],"instrument":"scanner","text":"K-00048"},"boot":"boot","clock_ok":true,"input":null,"kind":"scan","mono_ns":31000000000,"seq":64,"specimen":null,"v":1}',X'064EC54AC55F4358CE554772E1A6EB2688025BE1E8959BB91C6E9B3D7324D346');
INSERT INTO "entry" VALUES(65,'container',64,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"expected":"K-00056","fish":3,"kind":"envelope","number":"K-00048","place":"table","state":"filled","structure":"otolith","via":"scan"},"boot":"boot","clock_ok":true,"input":64,"kind":"container","mono_ns":31000000000,"seq":65,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'F2549D388BDC81C836C58EE96D7EEB738113D8410E1DDC022B7451D46E2EFE19');
INSERT INTO "entry" VALUES(66,'closed',64,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"end":"complete","number":3,"place":"table"},"boot":"boot","clock_ok":true,"input":64,"kind":"closed","mono_ns":31000000000,"seq":66,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'248FC082BCF48794D8BBB456F682180AD194DC91AF820627D7426B74EBA3FF3E');
INSERT INTO "entry" VALUES(67,'opened',64,'00000000-0000-7000-8000-000000000028','{"at":"2026-05-04T00:00:00Z","body":{"batch":"bay","by":"container","number":4,"place":"table","practice":false,"provisional":false,"species":null},"boot":"boot","clock_ok":true,"input":64,"kind":"opened","mono_ns":31000000000,"seq":67,"specimen":"00000000-0000-7000-8000-000000000028","v":1}',X'1D167D7051CCE0F140B23674A249F43AE4140864372B178E39E8CE7207B5E6AF');
INSERT INTO "entry" VALUES(68,'asked',64,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"about":46,"args":{"before":"K-00021","between":"K-00030","label":"K-00048"},"code":"label-order","measurand":null,"place":"table","probability":null,"runner_up":null,"statistical":false,"text":"container K-00048 after K-00021: K-00030 left out, or is it a neighbour''s?","verdict":3},"boot":"boot","clock_ok":true,"input":64,"kind":"asked","mono_ns":31000000000,"seq":68,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'E0F756F07BA5D88C55138536BF0726159E1B0E8A411549D0C060C4B53A62DC04');
INSERT INTO "entry" VALUES(69,'reading',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"arrived_ns":32000000000,"arrived_utc":"2026-05-04T00:00:00Z","base":"230","condition":"ok","ids":["00000000-0000-7000-8000-000000000029"],"instrument":"board","load":null,"plateau":1,"raw":"230 mm\r\n","samples":1,"settled":"each","spread":null,"unit":"mm","value":"230","zero_before":null},"boot":"boot","clock_ok":true,"input":null,"kind":"reading","mono_ns":32000000000,"seq":69,"specimen":null,"v":1}',X'EF45B01771E1DCF7AE4FD8B10EDA73D5643B66CB88FDC0CD1801011CD045F4DF');
INSERT INTO "entry" VALUES(70,'outcome',69,'00000000-0000-7000-8000-000000000028','{"at":"2026-05-04T00:00:00Z","body":{"event":"fills","place":"table","reading":69},"boot":"boot","clock_ok":true,"input":69,"kind":"outcome","mono_ns":32000000000,"seq":70,"specimen":"00000000-0000-7000-8000-000000000028","v":1}',X'6744527867E899BB1D8A0C206699A22FEC48C636B53448F4C6D3061C4F4DC4F9');
INSERT INTO "entry" VALUES(71,'measured',69,'00000000-0000-7000-8000-000000000028','{"at":"2026-05-04T00:00:00Z","body":{"cause":null,"how":"instrument","instrument":"board","measurand":"total_length","measurer":"ida","number":4,"one_of":1,"place":"table","questioned":false,"raw_unit":"mm","raw_value":"230","reading":69,"recorder":null,"replicate":null,"rounded":"230","side":null,"supersedes":null,"taken_utc":"2026-05-04T00:00:00Z","unit":"mm","value":"230","verdict":1,"zero_before":null},"boot":"boot","clock_ok":true,"input":69,"kind":"measured","mono_ns":32000000000,"seq":71,"specimen":"00000000-0000-7000-8000-000000000028","v":1}',X'F973E806085BE55159A4E2A72B71AD8AC386B419C95263FD8A94153D82957C49');
INSERT INTO "entry" VALUES(72,'act',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"act":"void","args":[],"ids":["00000000-0000-7000-8000-000000000030"],"place":null,"via":"cli"},"boot":"boot","clock_ok":true,"input":null,"kind":"act","mono_ns":33000000000,"seq":72,"specimen":null,"v":1}',X'0BFE00131D21B69DA88A11D131843E60CD103DF4B915BE5002913568677DFA9D');
INSERT INTO "entry" VALUES(73,'armed',72,'00000000-0000-7000-8000-000000000028','{"at":"2026-05-04T00:00:00Z","body":{"place":"table","said":"void","until_ns":48000000000},"boot":"boot","clock_ok":true,"input":72,"kind":"armed","mono_ns":33000000000,"seq":73,"specimen":"00000000-0000-7000-8000-000000000028","v":1}',X'AB0D79E33DD2CC4B0E127E0F2168D05134BA41F5170AC2472AE11070093D665A');
INSERT INTO "entry" VALUES(74,'told',72,'00000000-0000-7000-8000-000000000028','{"at":"2026-05-04T00:00:00Z","body":{"code":"armed","place":"table","text":"void 4: say it again to do it"},"boot":"boot","clock_ok":true,"input":72,"kind":"told","mono_ns":33000000000,"seq":74,"specimen":"00000000-0000-7000-8000-000000000028","v":1}',X'71641369A4D8CCF7870099AA083BE8376308DCBD5817A7E4CD053BBDD726B40E');
INSERT INTO "entry" VALUES(75,'act',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"act":"void","args":[],"ids":["00000000-0000-7000-8000-000000000031"],"place":null,"via":"cli"},"boot":"boot","clock_ok":true,"input":null,"kind":"act","mono_ns":34000000000,"seq":75,"specimen":null,"v":1}',X'ED2147C27F48DF7A42FE110F7D27BD32005AAC894C2AF0C15E78ECAB54E5E469');
INSERT INTO "entry" VALUES(76,'lapsed',75,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"place":"table"},"boot":"boot","clock_ok":true,"input":75,"kind":"lapsed","mono_ns":34000000000,"seq":76,"specimen":null,"v":1}',X'72E14286BA4E5A46CCDC5335E52F94AB7B4332970D5171BC88102E9016C19D61');
INSERT INTO "entry" VALUES(77,'question',75,'00000000-0000-7000-8000-000000000021','{"at":"2026-05-04T00:00:00Z","body":{"event":"next fish","question":68},"boot":"boot","clock_ok":true,"input":75,"kind":"question","mono_ns":34000000000,"seq":77,"specimen":"00000000-0000-7000-8000-000000000021","v":1}',X'39A44DD67603284F9C30FA861EC1B463E266A01710F1B06A1852AE5E84720F36');
INSERT INTO "entry" VALUES(78,'told',75,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"code":"kept","place":"table","text":"keep 3 for later"},"boot":"boot","clock_ok":true,"input":75,"kind":"told","mono_ns":34000000000,"seq":78,"specimen":null,"v":1}',X'9D21FBAF836B1C67C73049322DEC391F5A98CC5A64148F069DC0464188080244');
INSERT INTO "entry" VALUES(79,'closed',75,'00000000-0000-7000-8000-000000000028','{"at":"2026-05-04T00:00:00Z","body":{"end":"void","number":4,"place":"table"},"boot":"boot","clock_ok":true,"input":75,"kind":"closed","mono_ns":34000000000,"seq":79,"specimen":"00000000-0000-7000-8000-000000000028","v":1}',X'94C90EEF605AE8217564C576331F4644E967B2EE5FCDC4BA01D8CCC32965A0AA');
INSERT INTO "entry" VALUES(80,'withdrawn',75,'00000000-0000-7000-8000-000000000028','{"at":"2026-05-04T00:00:00Z","body":{"measurement":71,"place":"table"},"boot":"boot","clock_ok":true,"input":75,"kind":"withdrawn","mono_ns":34000000000,"seq":80,"specimen":"00000000-0000-7000-8000-000000000028","v":1}',X'AF38E273B4BC99C36FF6993FE179C127E954E839BB1C38BF0E88A95377CADD13');
INSERT INTO "entry" VALUES(81,'outcome',75,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"event":"taken back","place":"table","reading":69,"why":"void"},"boot":"boot","clock_ok":true,"input":75,"kind":"outcome","mono_ns":34000000000,"seq":81,"specimen":null,"v":1}',X'EC7AD04AE4FEAD1D92570F6E92F0344C192F8E7F2AB7A11F58C63A869746118B');
INSERT INTO "entry" VALUES(82,'opened',75,'00000000-0000-7000-8000-000000000031','{"at":"2026-05-04T00:00:00Z","body":{"batch":"bay","by":"void","number":5,"place":"table","practice":false,"provisional":false,"species":null},"boot":"boot","clock_ok":true,"input":75,"kind":"opened","mono_ns":34000000000,"seq":82,"specimen":"00000000-0000-7000-8000-000000000031","v":1}',X'E45661B374DC699C69EA80994598B158AC1725F86CB0AB840E8AC2AB790E853D');
INSERT INTO "entry" VALUES(83,'act',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"act":"batch","args":["close","done"],"ids":["00000000-0000-7000-8000-000000000032"],"place":null,"via":"cli"},"boot":"boot","clock_ok":true,"input":null,"kind":"act","mono_ns":35000000000,"seq":83,"specimen":null,"v":1}',X'585A217FDA32B1D1642B843E514AEED026B6BF4E7DF0A531F2181A1D379D55FC');
INSERT INTO "entry" VALUES(84,'unopened',83,'00000000-0000-7000-8000-000000000031','{"at":"2026-05-04T00:00:00Z","body":{"number":5,"place":"table"},"boot":"boot","clock_ok":true,"input":83,"kind":"unopened","mono_ns":35000000000,"seq":84,"specimen":"00000000-0000-7000-8000-000000000031","v":1}',X'CC7282792741D71B69975CB7D7DCD46C86A9EBF55D57E6C14A53C180418DEC4E');
INSERT INTO "entry" VALUES(85,'read-out',83,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"numbers":[1,2,3,4],"place":"table","questions":[68],"texts":["container K-00048 after K-00021: K-00030 left out, or is it a neighbour''s?"]},"boot":"boot","clock_ok":true,"input":83,"kind":"read-out","mono_ns":35000000000,"seq":85,"specimen":null,"v":1}',X'575FC5494EBB4336A040666A4ECDACC3A19DDC76ECF06F5BAA40A487D812E734');
INSERT INTO "entry" VALUES(86,'batch',83,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"batch":"bay","first":"K-00013","fish":3,"incomplete":0,"last":"K-00048","op":"close","place":"table","reason":"done","skipped":[],"text":"batch bay: 3 fish, 0 incomplete; containers K-00013 to K-00048"},"boot":"boot","clock_ok":true,"input":83,"kind":"batch","mono_ns":35000000000,"seq":86,"specimen":null,"v":1}',X'D97A4DDC3FACC0505CAD77ACC8EC60271CDC8F80C48A0B237F9052ED9AF340CB');
INSERT INTO "entry" VALUES(87,'reading',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"arrived_ns":36000000000,"arrived_utc":"2026-05-04T00:00:00Z","base":"99","condition":"ok","ids":["00000000-0000-7000-8000-000000000033"],"instrument":"board","load":null,"plateau":1,"raw":"99 mm\r\n","samples":1,"settled":"each","spread":null,"unit":"mm","value":"99","zero_before":null},"boot":"boot","clock_ok":true,"input":null,"kind":"reading","mono_ns":36000000000,"seq":87,"specimen":null,"v":1}',X'FC790DD0E30015EF7F2885EEBE8DD9033A64FD6DC226D6C24F831BC8EAAA5916');
INSERT INTO "entry" VALUES(88,'outcome',87,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"event":"belongs to none","place":"table","reading":87,"why":"no-batch"},"boot":"boot","clock_ok":true,"input":87,"kind":"outcome","mono_ns":36000000000,"seq":88,"specimen":null,"v":1}',X'8B05F87A83DA1A0CA3EA8786979A929BE57B71305E2D279893FBF7F299A0AB1D');
INSERT INTO "entry" VALUES(89,'told',87,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"code":"loose","place":"table","reading":87,"text":"loose: 99 mm (no batch is open)"},"boot":"boot","clock_ok":true,"input":87,"kind":"told","mono_ns":36000000000,"seq":89,"specimen":null,"v":1}',X'927CE2F604AB1E1AF8FC3102C489E1D02765DC023CEE47509550FF19129CCA75');
INSERT INTO "entry" VALUES(90,'act',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"act":"practice","args":["on"],"ids":["00000000-0000-7000-8000-000000000034"],"place":null,"via":"cli"},"boot":"boot","clock_ok":true,"input":null,"kind":"act","mono_ns":37000000000,"seq":90,"specimen":null,"v":1}',X'FD15958421B38D38734D54EE65366BBBB7630D0B944199D39B455070B996C5F5');
INSERT INTO "entry" VALUES(91,'practice',90,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"on":true,"place":"table"},"boot":"boot","clock_ok":true,"input":90,"kind":"practice","mono_ns":37000000000,"seq":91,"specimen":null,"v":1}',X'BAAA807F7E9244560D6567A440E8EABE827E56C51617489A11B6AA4D151E9106');
INSERT INTO "entry" VALUES(92,'reading',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"arrived_ns":38000000000,"arrived_utc":"2026-05-04T00:00:00Z","base":"98","condition":"ok","ids":["00000000-0000-7000-8000-000000000035"],"instrument":"board","load":null,"plateau":1,"raw":"98 mm\r\n","samples":1,"settled":"each","spread":null,"unit":"mm","value":"98","zero_before":null},"boot":"boot","clock_ok":true,"input":null,"kind":"reading","mono_ns":38000000000,"seq":92,"specimen":null,"v":1}',X'D0F7CC90479635D1EB13B1A6C03DDEB8ECB5CA5DD2E08696DBF592E5B207D291');
INSERT INTO "entry" VALUES(93,'outcome',92,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"event":"belongs to none","place":"table","reading":92,"why":"no-batch"},"boot":"boot","clock_ok":true,"input":92,"kind":"outcome","mono_ns":38000000000,"seq":93,"specimen":null,"v":1}',X'CC443705FBEC3FD225CF2090301896C0AE4A92A9DCCE9EE699B10348C73B85E6');
INSERT INTO "entry" VALUES(94,'told',92,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"code":"loose","place":"table","reading":92,"text":"loose: 98 mm (no batch is open)"},"boot":"boot","clock_ok":true,"input":92,"kind":"told","mono_ns":38000000000,"seq":94,"specimen":null,"v":1}',X'F731D03CDAFAF11E09D29B0A90C00B7CE1C162E6EDBA139DEEAB3E1FCCC08B11');
INSERT INTO "entry" VALUES(95,'act',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"act":"batch","args":["open","dry"],"ids":["00000000-0000-7000-8000-000000000036"],"place":null,"via":"cli"},"boot":"boot","clock_ok":true,"input":null,"kind":"act","mono_ns":39000000000,"seq":95,"specimen":null,"v":1}',X'464BD92D0967D43E77A997E342327031AE40B8B57E4331E6C083130017B432D7');
INSERT INTO "entry" VALUES(96,'batch',95,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"batch":"dry","op":"open","place":"table","practice":true,"species":null,"text":"batch dry open"},"boot":"boot","clock_ok":true,"input":95,"kind":"batch","mono_ns":39000000000,"seq":96,"specimen":null,"v":1}',X'8873F2DBAEFE1B783DAF4D63654B7B37A56437BA9DDA676D15E293812208C1D4');
INSERT INTO "entry" VALUES(97,'opened',95,'00000000-0000-7000-8000-000000000036','{"at":"2026-05-04T00:00:00Z","body":{"batch":"dry","by":"batch","number":5,"place":"table","practice":true,"provisional":false,"species":null},"boot":"boot","clock_ok":true,"input":95,"kind":"opened","mono_ns":39000000000,"seq":97,"specimen":"00000000-0000-7000-8000-000000000036","v":1}',X'43F2469AC6D88A23DE6F4FEBDA778D42FEE70248D20E72AF154BFE1744095AD5');
INSERT INTO "entry" VALUES(98,'reading',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"arrived_ns":40000000000,"arrived_utc":"2026-05-04T00:00:00Z","base":"150","condition":"ok","ids":["00000000-0000-7000-8000-000000000037"],"instrument":"board","load":null,"plateau":1,"raw":"150 mm\r\n","samples":1,"settled":"each","spread":null,"unit":"mm","value":"150","zero_before":null},"boot":"boot","clock_ok":true,"input":null,"kind":"reading","mono_ns":40000000000,"seq":98,"specimen":null,"v":1}',X'0F382A5557C4D564E107E8F33167A18BBF2018CDD5F7325939CC626FA0E6D77A');
INSERT INTO "entry" VALUES(99,'outcome',98,'00000000-0000-7000-8000-000000000036','{"at":"2026-05-04T00:00:00Z","body":{"event":"fills","place":"table","reading":98},"boot":"boot","clock_ok":true,"input":98,"kind":"outcome","mono_ns":40000000000,"seq":99,"specimen":"00000000-0000-7000-8000-000000000036","v":1}',X'EFD78CBB5AE7C1EB804FC2DD29B95063DDCC5031FFEB3E0A764A85B6C1E05631');
INSERT INTO "entry" VALUES(100,'measured',98,'00000000-0000-7000-8000-000000000036','{"at":"2026-05-04T00:00:00Z","body":{"cause":null,"how":"instrument","instrument":"board","measurand":"total_length","measurer":"ida","number":5,"one_of":1,"place":"table","questioned":false,"raw_unit":"mm","raw_value":"150","reading":98,"recorder":null,"replicate":null,"rounded":"150","side":null,"supersedes":null,"taken_utc":"2026-05-04T00:00:00Z","unit":"mm","value":"150","verdict":1,"zero_before":null},"boot":"boot","clock_ok":true,"input":98,"kind":"measured","mono_ns":40000000000,"seq":100,"specimen":"00000000-0000-7000-8000-000000000036","v":1}',X'6C5CA56A10CAA4170192CE517AC4FEC9D0169A45C987727A0A9D3A4AF2CA92B7');
INSERT INTO "entry" VALUES(101,'act',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"act":"skip","args":[],"ids":["00000000-0000-7000-8000-000000000038"],"place":null,"via":"cli"},"boot":"boot","clock_ok":true,"input":null,"kind":"act","mono_ns":41000000000,"seq":101,"specimen":null,"v":1}',X'64819CAC5F7576B0C5D572039466680FDE00673ADDDFFFB0E7DE300CB7289C39');
INSERT INTO "entry" VALUES(102,'container',101,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"expected":"K-00064","fish":null,"kind":"envelope","number":"K-00056","place":"table","state":"skipped","structure":null,"via":"skip"},"boot":"boot","clock_ok":true,"input":101,"kind":"container","mono_ns":41000000000,"seq":102,"specimen":null,"v":1}',X'7C9672252C6CA4FBC4A5F24B861B5CEEBF93997EDEEE51139AF1FAE58A2F3A9B');
INSERT INTO "entry" VALUES(103,'act',NULL,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"act":"batch","args":["close","enough"],"ids":["00000000-0000-7000-8000-000000000039"],"place":null,"via":"cli"},"boot":"boot","clock_ok":true,"input":null,"kind":"act","mono_ns":42000000000,"seq":103,"specimen":null,"v":1}',X'035874C672EF3987CF92FD8C8175060825EB6834764540BF975B864DF7655943');
INSERT INTO "entry" VALUES(104,'noted',103,'00000000-0000-7000-8000-000000000036','{"at":"2026-05-04T00:00:00Z","body":{"about":97,"args":{"number":5,"wanted":"whole_mass, container"},"code":"incomplete","measurand":null,"place":"table","probability":null,"runner_up":null,"statistical":false,"text":"5 closed without whole_mass, container","verdict":3},"boot":"boot","clock_ok":true,"input":103,"kind":"noted","mono_ns":42000000000,"seq":104,"specimen":"00000000-0000-7000-8000-000000000036","v":1}',X'343BA5B53A43C523254D4223051429C90360F6ABCD80C143EC27574A72C1B8E1');
INSERT INTO "entry" VALUES(105,'closed',103,'00000000-0000-7000-8000-000000000036','{"at":"2026-05-04T00:00:00Z","body":{"end":"incomplete","number":5,"place":"table"},"boot":"boot","clock_ok":true,"input":103,"kind":"closed","mono_ns":42000000000,"seq":105,"specimen":"00000000-0000-7000-8000-000000000036","v":1}',X'BFEAE35E0A63EBB0407773AA83E06F596EED627F9AC45094CB0C297D0E9EC51C');
INSERT INTO "entry" VALUES(106,'read-out',103,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"numbers":[5],"place":"table","questions":[104],"texts":["5 closed without whole_mass, container"]},"boot":"boot","clock_ok":true,"input":103,"kind":"read-out","mono_ns":42000000000,"seq":106,"specimen":null,"v":1}',X'044A5C77C370E559824A9D67098EFCBE2E1067A2BD7BFBD3E5BA45473666C0F3');
INSERT INTO "entry" VALUES(107,'batch',103,NULL,'{"at":"2026-05-04T00:00:00Z","body":{"batch":"dry","first":null,"fish":1,"incomplete":1,"last":null,"op":"close","place":"table","reason":"enough","skipped":["K-00056"],"text":"batch dry: 1 fish, 1 incomplete; no containers; skipped K-00056"},"boot":"boot","clock_ok":true,"input":103,"kind":"batch","mono_ns":42000000000,"seq":107,"specimen":null,"v":1}',X'FD49C830702255BDF605D7435B64EF7C9EC9703A0EC7D2F225CF54B58C312BC0');
CREATE TABLE identity (bench_name TEXT NOT NULL, bench_id TEXT NOT NULL);
INSERT INTO "identity" VALUES('lake survey','0190a3b2-0000-7000-8000-000000000001');
CREATE TABLE instrument (
  "instrument" TEXT PRIMARY KEY,
  "profile" TEXT,
  "port" TEXT,
  "present" INTEGER,
  "changed_utc" TEXT,
  "last_verified_utc" TEXT,
  "verified" INTEGER
);
INSERT INTO "instrument" VALUES('board','p','port-board',1,'2026-05-04T00:00:00Z',NULL,NULL);
INSERT INTO "instrument" VALUES('scale','p','port-scale',1,'2026-05-04T00:00:00Z',NULL,NULL);
INSERT INTO "instrument" VALUES('hand-scale','p','port-hand-scale',1,'2026-05-04T00:00:00Z',NULL,NULL);
INSERT INTO "instrument" VALUES('scanner','p','port-scanner',1,'2026-05-04T00:00:00Z',NULL,NULL);
INSERT INTO "instrument" VALUES('pedal','p','port-pedal',1,'2026-05-04T00:00:00Z',NULL,NULL);
CREATE TABLE measurement (
  "seq" INTEGER PRIMARY KEY,
  "specimen_id" TEXT,
  "number" INTEGER,
  "measurand" TEXT,
  "side" TEXT,
  "replicate" INTEGER,
  "value" TEXT,
  "unit" TEXT,
  "raw_value" TEXT,
  "raw_unit" TEXT,
  "rounded_value" TEXT,
  "status" TEXT,
  "verdict" INTEGER,
  "cause" TEXT,
  "place" TEXT,
  "instrument" TEXT,
  "how" TEXT,
  "measurer" TEXT,
  "recorder" TEXT,
  "zero_before" TEXT,
  "zero_after" TEXT,
  "taken_utc" TEXT,
  "supersedes" INTEGER,
  "reading_seq" INTEGER,
  "practice" INTEGER,
  "stood_by" INTEGER
);
INSERT INTO "measurement" VALUES(16,'00000000-0000-7000-8000-000000000008',1,'total_length',NULL,NULL,'200','mm','200','mm','200','stands',1,NULL,'table','board','instrument','ida',NULL,NULL,NULL,'2026-05-04T00:00:00Z',NULL,14,0,0);
INSERT INTO "measurement" VALUES(21,'00000000-0000-7000-8000-000000000008',1,'whole_mass',NULL,NULL,'90','g','90','g',NULL,'stands',1,NULL,'table','scale','instrument','ida',NULL,'0','0','2026-05-04T00:00:00Z',NULL,19,0,0);
INSERT INTO "measurement" VALUES(33,'00000000-0000-7000-8000-000000000015',2,'total_length',NULL,NULL,'210','mm','210','mm','210','stands',1,NULL,'table','board','instrument','ida',NULL,NULL,NULL,'2026-05-04T00:00:00Z',NULL,31,0,0);
INSERT INTO "measurement" VALUES(37,'00000000-0000-7000-8000-000000000015',2,'whole_mass',NULL,NULL,'100','g','100','g',NULL,'stands',1,NULL,'table','scale','instrument','ida',NULL,'0','0','2026-05-04T00:00:00Z',NULL,35,0,0);
INSERT INTO "measurement" VALUES(49,'00000000-0000-7000-8000-000000000021',3,'total_length',NULL,NULL,'220','mm','220','mm','220','superseded',1,NULL,'table','board','instrument','ida',NULL,NULL,NULL,'2026-05-04T00:00:00Z',NULL,47,0,0);
INSERT INTO "measurement" VALUES(56,'00000000-0000-7000-8000-000000000021',3,'total_length',NULL,NULL,'221','mm','221','mm','220','stands',1,NULL,'table','board','instrument','ida',NULL,NULL,NULL,'2026-05-04T00:00:00Z',49,50,0,0);
INSERT INTO "measurement" VALUES(60,'00000000-0000-7000-8000-000000000021',3,'whole_mass',NULL,NULL,'120','g','120','g',NULL,'stands',1,NULL,'table','scale','instrument','ida',NULL,'0','0','2026-05-04T00:00:00Z',NULL,58,0,0);
INSERT INTO "measurement" VALUES(71,'00000000-0000-7000-8000-000000000028',4,'total_length',NULL,NULL,'230','mm','230','mm','230','withdrawn',1,NULL,'table','board','instrument','ida',NULL,NULL,NULL,'2026-05-04T00:00:00Z',NULL,69,0,0);
INSERT INTO "measurement" VALUES(100,'00000000-0000-7000-8000-000000000036',5,'total_length',NULL,NULL,'150','mm','150','mm','150','stands',1,NULL,'table','board','instrument','ida',NULL,NULL,NULL,'2026-05-04T00:00:00Z',NULL,98,1,0);
CREATE TABLE pool (
  "seq" INTEGER PRIMARY KEY,
  "batch" TEXT,
  "place" TEXT,
  "species" TEXT,
  "n" INTEGER,
  "measurand" TEXT,
  "value" TEXT,
  "unit" TEXT,
  "raw_value" TEXT,
  "raw_unit" TEXT,
  "status" TEXT,
  "at_utc" TEXT,
  "reading_seq" INTEGER,
  "practice" INTEGER
);
CREATE TABLE presence (instrument TEXT PRIMARY KEY, last_frame_utc TEXT NOT NULL);
CREATE TABLE question (
  "seq" INTEGER PRIMARY KEY,
  "place" TEXT,
  "specimen_id" TEXT,
  "measurand" TEXT,
  "verdict" INTEGER,
  "kind" TEXT,
  "args" TEXT,
  "probability" TEXT,
  "runner_up" TEXT,
  "text" TEXT,
  "asked" INTEGER,
  "state" TEXT,
  "answered_by" INTEGER,
  "about" INTEGER
);
INSERT INTO "question" VALUES(52,'table','00000000-0000-7000-8000-000000000021','total_length',2,'again-or-new','{"instrument":"board","measurand":"total_length","number":3,"old":"220","unit":"mm","value":"221"}',NULL,NULL,'3 has total_length 220 already, now 221 mm: again or new?',1,'answered',53,50);
INSERT INTO "question" VALUES(68,'table','00000000-0000-7000-8000-000000000021',NULL,3,'label-order','{"before":"K-00021","between":"K-00030","label":"K-00048"}',NULL,NULL,'container K-00048 after K-00021: K-00030 left out, or is it a neighbour''s?',1,'read-out',NULL,46);
INSERT INTO "question" VALUES(104,'table','00000000-0000-7000-8000-000000000036',NULL,3,'incomplete','{"number":5,"wanted":"whole_mass, container"}',NULL,NULL,'5 closed without whole_mass, container',0,'read-out',NULL,97);
CREATE TABLE reading (
  "seq" INTEGER PRIMARY KEY,
  "instrument" TEXT,
  "place" TEXT,
  "raw" TEXT,
  "value" TEXT,
  "unit" TEXT,
  "base_value" TEXT,
  "condition" TEXT,
  "settled" TEXT,
  "spread" TEXT,
  "samples" INTEGER,
  "zero_before" TEXT,
  "plateau" INTEGER,
  "arrived_utc" TEXT,
  "arrived_ns" INTEGER,
  "done_utc" TEXT,
  "arrived_after_seq" INTEGER,
  "outcome" TEXT,
  "why" TEXT,
  "specimen_id" TEXT,
  "measurement_seq" INTEGER
);
INSERT INTO "reading" VALUES(14,'board','table','200 mm
','200','mm','200','ok','each',NULL,1,NULL,1,'2026-05-04T00:00:00Z',11000000000,'2026-05-04T00:00:00Z',13,'taken',NULL,'00000000-0000-7000-8000-000000000008',16);
INSERT INTO "reading" VALUES(19,'scale','table','90 g
','90','g','90','ok','mark',NULL,1,'0',1,'2026-05-04T00:00:00Z',13000000000,'2026-05-04T00:00:00Z',17,'taken',NULL,'00000000-0000-7000-8000-000000000008',21);
INSERT INTO "reading" VALUES(31,'board','table','210 mm
','210','mm','210','ok','each',NULL,1,NULL,1,'2026-05-04T00:00:00Z',17000000000,'2026-05-04T00:00:00Z',30,'taken',NULL,'00000000-0000-7000-8000-000000000015',33);
INSERT INTO "reading" VALUES(35,'scale','table','100 g
','100','g','100','ok','mark',NULL,1,'0',1,'2026-05-04T00:00:00Z',19000000000,'2026-05-04T00:00:00Z',34,'taken',NULL,'00000000-0000-7000-8000-000000000015',37);
INSERT INTO "reading" VALUES(47,'board','table','220 mm
','220','mm','220','ok','each',NULL,1,NULL,1,'2026-05-04T00:00:00Z',23000000000,'2026-05-04T00:00:00Z',46,'superseded',NULL,'00000000-0000-7000-8000-000000000021',49);
INSERT INTO "reading" VALUES(50,'board','table','221 mm
','221','mm','221','ok','each',NULL,1,NULL,1,'2026-05-04T00:00:00Z',26000000000,'2026-05-04T00:00:00Z',49,'taken',NULL,'00000000-0000-7000-8000-000000000021',56);
INSERT INTO "reading" VALUES(58,'scale','table','120 g
','120','g','120','ok','mark',NULL,1,'0',1,'2026-05-04T00:00:00Z',29000000000,'2026-05-04T00:00:00Z',57,'taken',NULL,'00000000-0000-7000-8000-000000000021',60);
INSERT INTO "reading" VALUES(69,'board','table','230 mm
','230','mm','230','ok','each',NULL,1,NULL,1,'2026-05-04T00:00:00Z',32000000000,'2026-05-04T00:00:00Z',68,'loose','void','00000000-0000-7000-8000-000000000028',71);
INSERT INTO "reading" VALUES(87,'board','table','99 mm
','99','mm','99','ok','each',NULL,1,NULL,1,'2026-05-04T00:00:00Z',36000000000,'2026-05-04T00:00:00Z',86,'loose','no-batch',NULL,NULL);
INSERT INTO "reading" VALUES(92,'board','table','98 mm
','98','mm','98','ok','each',NULL,1,NULL,1,'2026-05-04T00:00:00Z',38000000000,'2026-05-04T00:00:00Z',91,'loose','no-batch',NULL,NULL);
INSERT INTO "reading" VALUES(98,'board','table','150 mm
','150','mm','150','ok','each',NULL,1,NULL,1,'2026-05-04T00:00:00Z',40000000000,'2026-05-04T00:00:00Z',97,'taken',NULL,'00000000-0000-7000-8000-000000000036',100);
CREATE TABLE snapshot (seq INTEGER PRIMARY KEY, state TEXT NOT NULL);
CREATE TABLE specimen (
  "specimen_id" TEXT PRIMARY KEY,
  "number" INTEGER,
  "batch" TEXT,
  "species" TEXT,
  "state" TEXT,
  "end" TEXT,
  "place" TEXT,
  "opened_seq" INTEGER,
  "opened_utc" TEXT,
  "closed_utc" TEXT,
  "same_as" INTEGER,
  "tag" TEXT,
  "structures" TEXT,
  "practice" INTEGER,
  "provisional" INTEGER,
  "values" TEXT,
  "missing" TEXT,
  "codes" TEXT,
  "containers" TEXT,
  "worst_verdict" INTEGER,
  "given" INTEGER
);
INSERT INTO "specimen" VALUES('00000000-0000-7000-8000-000000000008',1,'bay',NULL,'closed','complete','table',10,'2026-05-04T00:00:00Z','2026-05-04T00:00:00Z',NULL,NULL,'{}',0,0,'{"total_length":16,"whole_mass":21}','{}','{"sex":26}','["K-00013"]',1,4);
INSERT INTO "specimen" VALUES('00000000-0000-7000-8000-000000000015',2,'bay',NULL,'closed','complete','table',30,'2026-05-04T00:00:00Z','2026-05-04T00:00:00Z',NULL,NULL,'{}',0,0,'{"total_length":33,"whole_mass":37}','{}','{"sex":42}','["K-00021"]',1,4);
INSERT INTO "specimen" VALUES('00000000-0000-7000-8000-000000000021',3,'bay',NULL,'closed','complete','table',46,'2026-05-04T00:00:00Z','2026-05-04T00:00:00Z',NULL,NULL,'{}',0,0,'{"total_length":56,"whole_mass":60}','{}','{}','["K-00048"]',1,4);
INSERT INTO "specimen" VALUES('00000000-0000-7000-8000-000000000028',4,'bay',NULL,'closed','void','table',67,'2026-05-04T00:00:00Z','2026-05-04T00:00:00Z',NULL,NULL,'{}',0,0,'{}','{}','{}','[]',NULL,1);
INSERT INTO "specimen" VALUES('00000000-0000-7000-8000-000000000036',5,'dry',NULL,'closed','incomplete','table',97,'2026-05-04T00:00:00Z','2026-05-04T00:00:00Z',NULL,NULL,'{}',1,0,'{"total_length":100}','{}','{}','[]',1,1);
CREATE TABLE specimen_column (measurand TEXT PRIMARY KEY, unit TEXT NOT NULL);
INSERT INTO "specimen_column" VALUES('total_length','mm');
INSERT INTO "specimen_column" VALUES('whole_mass','g');
CREATE TABLE tally (
  "tally" TEXT PRIMARY KEY,
  "batch" TEXT,
  "place" TEXT,
  "species" TEXT,
  "sex" TEXT,
  "measurand" TEXT,
  "class_mm" TEXT,
  "n" INTEGER,
  "practice" INTEGER
);
CREATE TRIGGER entry_append BEFORE INSERT ON entry
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entry)
BEGIN SELECT RAISE(ABORT, 'entries are appended, in order and without a gap'); END;
CREATE TRIGGER entry_update BEFORE UPDATE ON entry
BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END;
CREATE TRIGGER entry_delete BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, 'entries are never removed'); END;
CREATE INDEX entry_mend ON entry (seq) WHERE kind = 'mend';
CREATE INDEX specimen_number ON specimen (number);
CREATE INDEX specimen_batch ON specimen (batch);
CREATE INDEX measurement_specimen_id ON measurement (specimen_id);
CREATE INDEX coded_specimen_id ON coded (specimen_id);
CREATE INDEX container_specimen_id ON container (specimen_id);
CREATE INDEX question_specimen_id ON question (specimen_id);
CREATE VIEW about AS
SELECT 0 AS contract_version, bench_name AS bench, bench_id FROM identity;
CREATE VIEW measurements AS
SELECT m.seq, m.specimen_id, s.number, m.measurand, m.side, m.replicate,
  CAST(m.value AS REAL) AS value, m.unit, m.raw_value, m.raw_unit, CAST(m.rounded_value AS REAL) AS rounded_value,
  m.status, m.verdict, m.cause, m.place, m.instrument, m.how, m.measurer, m.recorder,
  CAST(m.zero_before AS REAL) AS zero_before, CAST(m.zero_after AS REAL) AS zero_after, m.taken_utc, m.supersedes, m.reading_seq
FROM measurement m LEFT JOIN specimen s ON s.specimen_id = m.specimen_id WHERE s.practice IS NOT 1 AND m.practice IS NOT 1;
CREATE VIEW readings AS
SELECT r.seq, r.instrument, r.place, r.raw, r.value, r.unit, CAST(r.base_value AS REAL) AS base_value,
  r.condition, r.settled, CAST(r.spread AS REAL) AS spread, r.samples, CAST(r.zero_before AS REAL) AS zero_before, r.plateau,
  r.arrived_utc, r.done_utc, r.arrived_after_seq, r.outcome, r.why, r.specimen_id
FROM reading r LEFT JOIN specimen s ON s.specimen_id = r.specimen_id WHERE s.practice IS NOT 1;
CREATE VIEW codes AS
SELECT c.seq, c.specimen_id, s.number, c.field, c.scale, c.code, c.missing_reason, c.who, c.at_utc,
  c.supersedes, c.status
FROM coded c LEFT JOIN specimen s ON s.specimen_id = c.specimen_id WHERE s.practice IS NOT 1;
CREATE VIEW containers AS
SELECT c.number, c.specimen_id, c.structure, c.taken, c.side, c.condition, c.kind, c.dried,
  c.state, c.at_utc
FROM container c LEFT JOIN specimen s ON s.specimen_id = c.specimen_id WHERE s.practice IS NOT 1;
CREATE VIEW batches AS
SELECT b.batch, b.parent, b.kind, b.opened_utc, b.closed_utc, b.species,
  CAST(b.total_mass_g AS REAL) AS total_mass_g, CAST(b.sub_mass_g AS REAL) AS sub_mass_g, b.counted, b.measured, b.selection, b.preservation,
  b.presentation, b.end_reason
FROM batch b WHERE b.practice = 0;
CREATE VIEW tallies AS
SELECT t.batch, t.species, t.sex, t.measurand, CAST(t.class_mm AS REAL) AS class_mm, sum(t.n) AS n
FROM tally t WHERE t.practice = 0 AND t.n > 0
GROUP BY t.batch, t.species, t.sex, t.measurand, CAST(t.class_mm AS REAL);
CREATE VIEW pools AS
SELECT p.seq, p.batch, p.place, p.species, p.n, p.measurand, CAST(p.value AS REAL) AS value, p.unit, p.raw_value,
  p.raw_unit, p.status, p.at_utc, p.reading_seq
FROM pool p WHERE p.practice = 0;
CREATE VIEW findings AS
SELECT q.seq, q.specimen_id, q.measurand, q.verdict, q.kind AS cause, CAST(q.probability AS REAL) AS probability,
  q.runner_up, q.text, q.asked, q.answered_by, q.state, q.place, q.about
FROM question q LEFT JOIN specimen s ON s.specimen_id = q.specimen_id WHERE s.practice IS NOT 1;
CREATE VIEW mends AS
SELECT e.seq, e.specimen_id, json_extract(e.data, '$.body.measurand') AS measurand,
  json_extract(e.data, '$.body.old_value') AS old_value, json_extract(e.data, '$.body.new_value') AS new_value,
  json_extract(e.data, '$.body.who') AS who, json_extract(e.data, '$.body.why') AS why,
  json_extract(e.data, '$.body.evidence') AS evidence, json_extract(e.data, '$.at') AS at_utc
FROM entry e LEFT JOIN specimen s ON s.specimen_id = e.specimen_id WHERE s.practice IS NOT 1 AND e.kind = 'mend';
CREATE VIEW instruments AS
SELECT i.instrument, i.profile, i.port, i.present, p.last_frame_utc, i.last_verified_utc,
  i.verified
FROM instrument i LEFT JOIN presence p ON p.instrument = i.instrument;
CREATE VIEW changes AS
SELECT seq, kind, specimen_id, json_extract(data, '$.at') AS at_utc FROM entry;
CREATE VIEW specimens AS
SELECT s.specimen_id, s.number, s.batch, s.species, s.state, s."end", s.opened_utc, s.closed_utc,
  (SELECT group_concat(value, ', ') FROM json_each(s.containers)) AS containers, s.worst_verdict, s.place, s.same_as,
  s.missing, s.structures,
  (SELECT CAST(m.value AS REAL) FROM measurement m WHERE m.seq = json_extract(s."values", '$."total_length"')) AS "total_length_mm",
  (SELECT CAST(m.value AS REAL) FROM measurement m WHERE m.seq = json_extract(s."values", '$."whole_mass"')) AS "whole_mass_g"
FROM specimen s WHERE s.practice = 0;
COMMIT;
